package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"weald/stream/journal"
	"weald/stream/journal/sqlite"
	"weald/stream/record"
)

// ended runs the program with the ward Larch in a folder for so long, and then
// sends it a signal.
func ended(t *testing.T, dir string, lasting time.Duration, by os.Signal) {
	t.Helper()
	var stderr log
	cmd := exec.Command(os.Args[0], "demo", "--speed", "60", "--data", dir, "--listen", "127.0.0.1:0")
	cmd.Env = append(os.Environ(), asProgram+"=1")
	cmd.Stderr = &stderr
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	eventually(t, 30*time.Second, func() error {
		if !strings.Contains(stderr.String(), "listening on") {
			return fmt.Errorf("not listening: %s", stderr.String())
		}
		return nil
	})
	time.Sleep(lasting)
	if err := cmd.Process.Signal(by); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Wait(); err != nil && by != os.Kill {
		t.Errorf("after %v it ended with %v: %s", by, err, stderr.String())
	}
	for line := range strings.Lines(stderr.String()) {
		if strings.Contains(line, "level=ERROR") || strings.Contains(line, "not kept") {
			t.Logf("a run said: %s", line)
		}
	}
}

// kept reads the changes of alerts from a record, as a rehearsal prints them.
func kept(t *testing.T, dir string) (lines []string) {
	t.Helper()
	store, err := sqlite.Open(t.Context(), dir, sqlite.Options{Reserve: -1})
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	for e, err := range store.Entries(context.Background(), journal.Query{Kinds: []record.Kind{record.KindTransition}}) {
		if err != nil {
			t.Fatal(err)
		}
		event := e.Body.(record.Transition).Event
		b, err := json.Marshal(lineOf(&event))
		if err != nil {
			t.Fatal(err)
		}
		lines = append(lines, string(b))
	}
	for finding, err := range store.Check(t.Context()) {
		t.Errorf("the record is not in order: %v (%v)", finding, err)
	}
	return lines
}

// Four runs of a ward in which time runs fast, three of them ended by kill -9,
// with a bridge that is unplugged now and then and one that damages frames:
// judged again from the record, they give the alerts of the live runs, to the
// byte, none lost and none doubled. What a kill left judged and not kept, the
// next start keeps; so the last run is let end by itself.
func TestLiveIsRehearsed(t *testing.T) {
	dir := t.TempDir()
	for _, lasting := range []time.Duration{7 * time.Second, 4300 * time.Millisecond, 5700 * time.Millisecond} {
		ended(t, dir, lasting, os.Kill)
	}
	ended(t, dir, 4*time.Second, os.Interrupt)
	live := kept(t, dir)
	s := sameAlerts(t, live, filepath.Join(dir, "larch.yaml"))
	kept := len(live)
	if len(slices.Compact(live)) != kept {
		t.Error("a change was kept twice")
	}
	t.Logf("%d changes of alerts, from %d scans, of which %d late", kept, s.Scans, s.Late)
	if len(live) < 10 {
		t.Error("too few to prove anything")
	}
}

// sameAlerts tells what differs between the changes of alerts that were kept and
// those that a rehearsal of the record gives. It sorts live.
func sameAlerts(t *testing.T, live []string, config string) summary {
	t.Helper()
	events, s := rehearsed(t, "-c", config)
	var again []string
	for i := range events {
		b, err := json.Marshal(events[i])
		if err != nil {
			t.Fatal(err)
		}
		again = append(again, string(b))
	}
	slices.Sort(live)
	slices.Sort(again)
	if !slices.Equal(live, again) {
		for _, l := range live {
			if !slices.Contains(again, l) {
				t.Errorf("live only:      %s", l)
			}
		}
		for _, l := range again {
			if !slices.Contains(live, l) {
				t.Errorf("rehearsed only: %s", l)
			}
		}
		t.Errorf("%d changes live, %d rehearsed", len(live), len(again))
	}
	return s
}
