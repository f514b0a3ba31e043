package main

import (
	"bytes"
	"context"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/stream/journal/sqlite"
)

// scansOf returns when the scans of a source in a record were taken.
func scansOf(t *testing.T, dir, source string) (all []sample.Instant) {
	t.Helper()
	store, err := sqlite.Open(t.Context(), dir, sqlite.Options{Reserve: -1})
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	for b, err := range store.Readings(context.Background(), source, sample.Past, sample.Never) {
		if err != nil {
			t.Fatal(err)
		}
		for i := range b.Scans {
			all = append(all, b.Scans[i].At)
		}
	}
	return all
}

// History is known after a kill, to the second, wherever there were readings.
func TestHistorySurvivesAKill(t *testing.T) {
	dir := t.TempDir()
	ended(t, dir, 5*time.Second, os.Kill)
	scans := scansOf(t, dir, "trolley/leg1")
	if len(scans) < 300 {
		t.Fatalf("%d scans are too few to prove anything", len(scans))
	}
	first, last := scans[0], scans[len(scans)-1]
	address := start(t, "demo", "--speed", "20", "--data", dir, "--listen", "127.0.0.1:0")
	type answer struct {
		StepS  float64 `json:"step_s"`
		Series []struct {
			Name string
			T    []time.Time
			Mean []*float64
		}
	}
	eventually(t, 20*time.Second, func() error {
		a, err := get[answer](address, fmt.Sprintf("/api/v1/places/bench-1/signals?name=ankle.pressure&points=5000&from=%s&to=%s",
			url.QueryEscape(first.Time().Format(time.RFC3339Nano)), url.QueryEscape(last.Time().Format(time.RFC3339Nano))))
		if err != nil {
			return err
		}
		known := map[int64]bool{}
		for i, at := range a.Series[0].T {
			known[at.Unix()] = a.Series[0].Mean[i] != nil
		}
		for _, at := range scans {
			if s := at.Time().Unix(); at < last-sample.Instant(time.Second) && !known[s] {
				return fmt.Errorf("at %v, %v before the end, there was a scan, and nothing is known", at, last.Sub(at))
			}
		}
		return nil
	})
}

// A running daemon copies its own record, and checks it; what is restored from
// the copy gives the alerts of the record, and goes on.
func TestBackupOfARunningDaemon(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	if err := os.Mkdir(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	start(t, "demo", "--speed", "30", "--data", dir, "--listen", "127.0.0.1:0")
	time.Sleep(4 * time.Second) // two minutes of a ward
	config := filepath.Join(dir, "larch.yaml")
	command := func(want int, args ...string) string {
		t.Helper()
		var stdout, stderr bytes.Buffer
		if code := run(t.Context(), args, &stdout, &stderr); code != want {
			t.Fatalf("%v ended with %d: %s%s", args, code, stdout.String(), stderr.String())
		}
		return stdout.String() + stderr.String()
	}
	copied := filepath.Join(t.TempDir(), "copy")
	command(0, "backup", "-c", config, copied, "--verify")
	if said := command(1, "backup", "-c", config, copied); !strings.Contains(said, "not empty") {
		t.Errorf("a second time: %s", said)
	}
	if said := command(0, "doctor", "-c", config); !strings.Contains(said, "all of it can be read") {
		t.Errorf("the doctor says: %s", said)
	}
	if said := command(1, "export", "-c", config, "--place", "bench-1", "--format", "csv", "--out", t.TempDir()); !strings.Contains(said, "in use by a running daemon") {
		t.Errorf("an export says: %s", said)
	}

	again := filepath.Join(t.TempDir(), "again")
	command(0, "restore", copied, "--data", again)
	command(0, "export", "-c", config, "--data", again, "--place", "bed-1", "--format", "edf", "--out", filepath.Join(t.TempDir(), "bed.edf"))
	// What the copy holds judged and not yet kept, the next start keeps, as after
	// a kill; so the restored ward runs on for a while and is let end by itself.
	before := kept(t, again)
	ended(t, again, 2*time.Second, os.Interrupt)
	live := kept(t, again)
	if len(before) == 0 || len(live) < len(before) || !slices.Equal(live[:len(before)], before) {
		t.Errorf("the copy had %d changes of alerts, and %d after it went on", len(before), len(live))
	}
	sameAlerts(t, live, filepath.Join(again, "larch.yaml"))
}
