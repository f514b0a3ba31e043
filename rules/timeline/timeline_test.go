package timeline_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"weald/rules/timeline"
)

// The timelines are the worked examples of what a hold means, and some more.
func TestTimelines(t *testing.T) {
	files, err := filepath.Glob("../../testdata/timelines/*.timeline")
	if err != nil || len(files) < 45 {
		t.Fatalf("found %d timelines (%v), want at least 45", len(files), err)
	}
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".timeline"), func(t *testing.T) {
			f, err := os.Open(file)
			if err != nil {
				t.Fatal(err)
			}
			defer f.Close()
			s, err := timeline.Parse(f)
			if err != nil {
				t.Fatal(err)
			}
			if got, want := fmt.Sprint(s.Run()), fmt.Sprint(s.Want); got != want {
				t.Errorf("happened %s, want %s", got, want)
			}
		})
	}
}

func TestParseRefuses(t *testing.T) {
	for _, text := range []string{
		"on_delay 30s\n0s 40",
		"limit above\n",
		"limit above 32\nwhat is this\n",
		"limit above 32\non_delay 30\n",
		"limit above 32\n0s..x 40\n",
		"limit above 32\n0s high\n",
		"limit above 32\nact 0s shelve K-07 9h bath\n",
		"limit above 32\nact 0s shelve K-07 1h\n",
		"limit above 32\nact 0s silence K-07\n",
	} {
		if s, err := timeline.Parse(strings.NewReader(text)); err == nil {
			t.Errorf("Parse(%q) = %+v, want an error", text, s)
		}
	}
}
