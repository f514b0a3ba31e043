package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"weald/ingest/tcp/wire/wiretest"
)

// The demonstration's configuration says where its pages are, so that commands that ask
// its daemon find it.
func TestTheDemonstrationIsFoundByItsConfiguration(t *testing.T) {
	at := wiretest.Vacant(t)
	dir := t.TempDir()
	address := start(t, "demo", "--data", dir, "--listen", at)
	b, err := os.ReadFile(filepath.Join(dir, "larch.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	if address != "http://"+at || !strings.Contains(string(b), `listen: "`+at+`"`) {
		t.Errorf("it listens on %s, was told %s, and says %s", address, at, b[:300])
	}
	var out log
	if code := run(t.Context(), []string{"seat", "links", "-c", filepath.Join(dir, "larch.yaml")}, &out, &out); code != 0 {
		t.Errorf("a command that asks it ended with %d: %s", code, out.String())
	}
}
