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
	endedWhile(t, dir, lasting, by, func(string) {})
}

// endedWhile is ended while somebody does something with the address of its pages,
// until it does not answer any more.
func endedWhile(t *testing.T, dir string, lasting time.Duration, by os.Signal, somebody func(address string)) {
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
	_, after, _ := strings.Cut(stderr.String(), "listening on ")
	done := make(chan struct{})
	go func() {
		defer close(done)
		somebody(strings.Trim(strings.SplitN(after, "\n", 2)[0], `" `))
	}()
	time.Sleep(lasting)
	if err := cmd.Process.Signal(by); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Wait(); err != nil && by != os.Kill {
		t.Errorf("after %v it ended with %v: %s", by, err, stderr.String())
	}
	<-done
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
// with a bridge that is unplugged now and then and one that damages frames, and
// two people who acknowledge, shelve and take out of service what they find:
// judged again from the record, they give the alerts of the live runs, to the
// byte, none lost and none doubled, and whatever a daemon said yes to is kept.
// What a kill left judged and not kept, the next start keeps; so the last run is
// let end by itself.
func TestLiveIsRehearsed(t *testing.T) {
	dir := t.TempDir()
	var done []deed
	for i, lasting := range []time.Duration{7 * time.Second, 4300 * time.Millisecond, 5700 * time.Millisecond, 4 * time.Second} {
		var by os.Signal = os.Kill
		if i == 3 {
			by = os.Interrupt
		}
		endedWhile(t, dir, lasting, by, func(address string) {
			other := make(chan []deed)
			go func() { other <- people(address, "K-07", uint64(2*i)) }()
			done = append(done, people(address, "K-08", uint64(2*i+1))...)
			done = append(done, <-other...)
		})
	}
	live := kept(t, dir)
	keptDeeds(t, dir, done)
	s := sameAlerts(t, live, filepath.Join(dir, "larch.yaml"))
	kept := len(live)
	if len(slices.Compact(live)) != kept {
		t.Error("a change was kept twice")
	}
	t.Logf("%d changes of alerts, from %d scans, of which %d late; %d deeds", kept, s.Scans, s.Late, len(done))
	if len(live) < 10 || len(done) < 20 {
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
