package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"weald/ingest/raced"
	"weald/ingest/sample"
	"weald/stream/audit"
	"weald/stream/record"
	"weald/stream/sessions"
)

// sessionIDs are drawn, for each import anew.
var sessionIDs = regexp.MustCompile(`\bs-[a-z2-7]+`)

// However often an import is interrupted, wherever that is: the same command goes on, and
// in the end everything is as if it had not been.
func TestAnInterruptedImportGoesOn(t *testing.T) {
	raced.Skip(t, "one command after the other")
	yaml := trialInAFolder(t)
	must(t, os.Mkdir("recordings", 0o700))
	must(t, os.WriteFile("trial.yaml", []byte(yaml), 0o600))
	must(t, os.WriteFile("whole.yaml", []byte(strings.Replace(yaml, "data: record", "data: whole", 1)), 0o600))
	sit(t, "recordings/K-12_monday.csv", "2026-03-02T09:00:00Z", 50*time.Minute, 20*time.Minute)
	sit(t, "recordings/K-12_tuesday.csv", "2026-03-03T09:00:00Z", 45*time.Minute, 0)
	sit(t, "recordings/K-13_monday.csv", "2026-03-02T14:00:00Z", 35*time.Minute, 10*time.Minute)
	weald := func(ctx context.Context, args ...string) (int, string) {
		var out bytes.Buffer
		code := run(ctx, args, &out, &out)
		return code, out.String()
	}
	take := func(ctx context.Context, config string) (int, string) {
		return weald(ctx, "import", "-c", config, "--sessions", "recordings", "--by", "R-1", "--zone", "UTC")
	}
	if code, said := take(t.Context(), "whole.yaml"); code != 0 {
		t.Fatalf("ended with %d: %s", code, said)
	}
	interrupted, wait := 0, 2*time.Millisecond
	for {
		ctx, cancel := context.WithTimeout(t.Context(), wait)
		code, said := take(ctx, "trial.yaml")
		over := ctx.Err() == nil
		cancel()
		if over {
			// The last interruption may have come when all was done and nothing said.
			all := strings.Contains(said, "the others are of sessions which the record has: nothing was written")
			if code == 0 == all || !all && !strings.Contains(said, "3 sessions of 2 people are in the record") {
				t.Fatalf("after %d interruptions it ended with %d: %s", interrupted, code, said)
			}
			break
		}
		interrupted++
		wait += wait / 6
	}
	if interrupted < 2 {
		t.Errorf("it was interrupted %d times", interrupted)
	}
	t.Logf("interrupted %d times", interrupted)
	for _, name := range []string{"trial", "whole"} {
		if code, said := weald(t.Context(), "export", "-c", name+".yaml", "--place", "seat-1", "--format", "csv", "--out", name+"-tables"); code != 0 {
			t.Fatalf("export ended with %d: %s", code, said)
		}
	}
	tables, err := filepath.Glob("whole-tables/*")
	must(t, err)
	for _, path := range tables {
		want, err := os.ReadFile(path)
		must(t, err)
		got, err := os.ReadFile(filepath.Join("trial-tables", filepath.Base(path)))
		must(t, err)
		got, want = sessionIDs.ReplaceAll(got, []byte("s-")), sessionIDs.ReplaceAll(want, []byte("s-"))
		if !bytes.Equal(got, want) {
			t.Errorf("%s is not what an import without interruption gives: %d bytes, want %d%s", filepath.Base(path), len(got), len(want), ": "+firstDifference(strings.Split(string(got), "\n"), strings.Split(string(want), "\n")))
		}
	}
	if len(tables) != 3 {
		t.Errorf("there are the tables %v", tables)
	}
	// That something else listens where its pages would be is no fault of the record.
	if code, said := weald(t.Context(), "doctor", "-c", "trial.yaml"); strings.Contains(strings.ReplaceAll(said, "wrong  daemon: the pages cannot listen", ""), "wrong") {
		t.Errorf("the doctor ended with %d: %s", code, said)
	}
	if code, said := take(t.Context(), "trial.yaml"); code != 1 || !strings.Contains(said, "which the record has: nothing was written") {
		t.Errorf("once more it ended with %d: %s", code, said)
	}

	// What has come into the folder since is taken, and only that.
	sit(t, "recordings/K-14_monday.csv", "2026-03-02T18:00:00Z", time.Minute, 0)
	if code, said := take(t.Context(), "trial.yaml"); code != 0 || strings.Count(said, "in the record already") != 3 || !strings.Contains(said, "K-14_monday.csv: K-14 at seat-1, 2026-03-02 18:00:00") {
		t.Errorf("with one more file it ended with %d: %s", code, said)
	}
}

// A recording that is another by now is not mixed with what was taken of it.
func TestAnImportGoesOnWithTheSameRecordingOnly(t *testing.T) {
	yaml := trialInAFolder(t)
	const path = "recordings/K-12_monday.csv"
	must(t, os.Mkdir("recordings", 0o700))
	must(t, os.WriteFile("trial.yaml", []byte(yaml), 0o600))
	sit(t, path, "2026-03-02T09:00:00Z", 20*time.Minute, 0)
	whole, err := os.ReadFile(path)
	must(t, err)

	// What an import leaves that ends after a thousand readings.
	ctx := t.Context()
	c := configOf(t, "trial.yaml")
	place, bridge, err := measuredAt(c, "")
	must(t, err)
	all, err := sittingsIn("recordings", c, bridge)
	must(t, err)
	s := all[0]
	must(t, s.look(ctx, time.UTC))
	store, err := openOrMakeRecord(ctx, c.Data)
	must(t, err)
	log := audit.Over(store)
	version, err := configVersion(ctx, log, c, 0, s.from, false)
	must(t, err)
	_, err = log.Append(ctx, record.Entry{At: s.from, Written: s.from, Place: place.ID, Author: "R-1",
		Body: record.Session{ID: "s-half", What: sessions.Begun, Code: s.code, Config: version}})
	must(t, err)
	w := &sittingWriter{ctx: ctx, log: log, plan: c.Plan(), config: version, blocks: map[int]*record.Block{}}
	n := 0
	must(t, s.play(ctx, func(scan *sample.Scan) {
		if n++; n <= 1000 {
			must(t, w.add(scan, s.shift))
		}
	}))
	must(t, errors.Join(w.flush(), store.Close()))

	take := func() string {
		var out bytes.Buffer
		code := run(ctx, []string{"import", "-c", "trial.yaml", "--sessions", "recordings", "--by", "R-1"}, &out, &out)
		return fmt.Sprintf("%d %s", code, out.String())
	}
	// The same person at the same time, every other row left out.
	lines := strings.SplitAfter(string(whole), "\n")
	thinned := lines[0]
	for i := 1; i < len(lines); i += 2 {
		thinned += lines[i]
	}
	thinned += lines[len(lines)-2] // the end is the same
	must(t, os.WriteFile(path, []byte(thinned), 0o600))
	if said := take(); !strings.HasPrefix(said, "1 ") || !strings.Contains(said, "not the recording that was begun with") {
		t.Errorf("another recording: %s", said)
	}
	must(t, os.WriteFile(path, whole, 0o600))
	if said := take(); !strings.HasPrefix(said, "0 ") || !strings.Contains(said, "1 session of 1 person is in the record") {
		t.Errorf("the recording that it was begun with: %s", said)
	}
	var out bytes.Buffer
	if code := run(ctx, []string{"export", "-c", "trial.yaml", "--place", "seat-1", "--format", "csv", "--out", "tables"}, &out, &out); code != 0 || !strings.Contains(out.String(), "6000 rows") {
		t.Errorf("export ended with %d, of 6000 readings: %s", code, out.String())
	}
}
