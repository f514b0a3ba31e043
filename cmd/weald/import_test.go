package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"weald/ingest/raced"
	"weald/ingest/recorded"
)

// accounts runs `weald import --json` and returns the accounts.
func accounts(t *testing.T, args ...string) (all []importAccount) {
	t.Helper()
	var stdout, stderr bytes.Buffer
	if code := run(t.Context(), append([]string{"import", "--json"}, args...), &stdout, &stderr); code != 0 {
		t.Fatalf("import ended with %d: %s%s", code, stdout.String(), stderr.String())
	}
	for line := range strings.Lines(stdout.String()) {
		var o struct {
			Account *importAccount `json:"account"`
		}
		if err := json.Unmarshal([]byte(line), &o); err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		if o.Account != nil {
			all = append(all, *o.Account)
		}
	}
	return all
}

// An import of a real recording is judged as the recording itself is, and the
// account adds up to the file's lines.
func TestRealRecordingsImported(t *testing.T) {
	t.Parallel()
	raced.Skip(t, "one rehearsal after the other")
	for _, c := range []struct {
		bridge, config, files string
		lines                 func(string) int // that a recording should give
	}{
		{"chair", seatConfig, "seat-drives/speed_*.csv", func(s string) int { return strings.Count(s, "seat") + strings.Count(s, "back") }},
		{"chair", raggedConfig, "seat-drives/user1_*.csv", func(s string) (n int) {
			for line := range strings.Lines(s) {
				if strings.Count(line, ",") == 31 {
					n++
				}
			}
			return n
		}},
		{"sole", walkConfig, "walking/*.txt", func(s string) int { return strings.Count(s, "\n") }},
	} {
		files := recorded.Files(t, c.files)
		if len(files) < 2 {
			t.Fatalf("%s: %d files", c.files, len(files))
		}
		config := write(t, "weald.yaml", c.config)
		raised, refused := 0, uint64(0)
		for _, file := range files {
			out := filepath.Join(t.TempDir(), "out.wcap")
			a := accounts(t, "-c", config, "--input", c.bridge+"="+file, "--out", out)[0]
			content, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			if want := c.lines(string(content)); a.Taken != uint64(want) || a.Output == nil {
				t.Errorf("%s: took %d rows, want %d", file, a.Taken, want)
			}
			refused += a.Refused
			want, _ := rehearsed(t, "-c", config, "--input", c.bridge+"="+file)
			got, _ := rehearsed(t, "-c", config, "--input", c.bridge+"="+out)
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("%s: rehearsed and imported differ:\n%s", file, diff)
			}
			raised += len(got)
		}
		if raised == 0 {
			t.Errorf("%s: not one event to compare", c.files)
		}
		t.Logf("%s: %d files, %d events, %d rows refused", c.files, len(files), raised, refused)
	}
}

// An import that is interrupted leaves nothing, and does not claim to be done.
func TestImportInterrupted(t *testing.T) {
	dir := t.TempDir()
	config := filepath.Join(dir, "weald.yaml")
	if err := os.WriteFile(config, []byte("data: data\n"+strings.TrimPrefix(walkConfig, "\n")), 0o600); err != nil {
		t.Fatal(err)
	}
	file := write(t, "walk.txt", strings.Repeat("1\t2\t3\n", 1000))
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	var stdout, stderr bytes.Buffer
	code := run(ctx, []string{"import", "-c", config, "--input", "sole=" + file}, &stdout, &stderr)
	if code != exitFound || !strings.Contains(stderr.String(), "interrupted, and nothing was written") {
		t.Errorf("ended with %d: %s%s", code, stdout.String(), stderr.String())
	}
	if left, err := os.ReadDir(filepath.Join(dir, "data")); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

// Progress goes to a log now and then, and over one line at a terminal.
func TestProgressIsTold(t *testing.T) {
	var b bytes.Buffer
	p := newProgress(&b, "k07.csv")
	p.tell(1e6, 0.1)
	if b.Len() > 0 {
		t.Errorf("told at once: %q", b.String())
	}
	p.every = 0
	p.tell(12.3e6, 0.456)
	p.end()
	if got := b.String(); got != "k07.csv:  46 %, 12.3 MB\n" {
		t.Errorf("a log has %q", got)
	}
	b.Reset()
	p.line = true
	p.tell(12.3e6, 0.456)
	p.end()
	if got := b.String(); got != "\r\x1b[Kk07.csv:  46 %, 12.3 MB\r\x1b[K" {
		t.Errorf("a terminal has %q", got)
	}
}
