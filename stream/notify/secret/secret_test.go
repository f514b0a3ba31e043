package secret

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestRead(t *testing.T) {
	dir := t.TempDir()
	file := func(name, text string) Source {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return Source{File: path}
	}
	t.Setenv("WEALD_TEST_SECRET", "of the environment")
	for _, c := range []struct {
		from       Source
		want, says string
	}{
		{file("one", "first line\r\nsecond"), "first line", ""},
		{file("empty", "\nsecond"), "", "it is empty"},
		{Source{File: filepath.Join(dir, "none")}, "", "no such file"},
		{Source{Env: "WEALD_TEST_SECRET"}, "of the environment", ""},
		{Source{Env: "WEALD_TEST_NONE"}, "", "variable WEALD_TEST_NONE: it is empty"},
		{Source{}, "", ""},
	} {
		got, err := c.from.Read()
		if said := ""; err != nil {
			said = err.Error()
			if c.says == "" || !strings.Contains(said, c.says) {
				t.Errorf("%+v: %s, want %q", c.from, said, c.says)
			}
		} else if got != c.want || c.says != "" {
			t.Errorf("%+v: %q, want %q", c.from, got, c.want)
		}
	}
	// What never ends is read to a bound.
	if got, _ := (Source{File: "/dev/zero"}).Read(); len(got) > mostBytes {
		t.Errorf("%d bytes are read", len(got))
	}
}
