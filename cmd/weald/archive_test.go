package main

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"weald/ingest/raced"
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

// mendTime is how long a start may take to judge the last minutes again, here
// with the race detector and on a busy machine; without them it is about a second.
const mendTime = 90 * time.Second

// History is known after a kill, to the second, wherever there were readings.
//
// The ward is no faster than a busy machine with the race detector can judge it:
// what comes too late to be judged is no history.
func TestHistorySurvivesAKill(t *testing.T) {
	t.Parallel()
	raced.Skip(t, "a ward that runs against the clock")
	dir := t.TempDir()
	var scans []sample.Instant
	for lives := 0; len(scans) < 300; lives++ { // a slow machine keeps less in a life
		if lives == 5 {
			t.Fatalf("%d scans are too few to prove anything", len(scans))
		}
		ended(t, dir, 8*time.Second, os.Kill)
		scans = scansOf(t, dir, "trolley/leg1")
	}
	first, last := scans[0], scans[len(scans)-1]
	address := start(t, "demo", "--speed", "10", "--data", dir, "--listen", "127.0.0.1:0")
	type answer struct {
		StepS  float64 `json:"step_s"`
		Series []struct {
			Name string
			T    []time.Time
			Mean []*float64
		}
	}
	eventually(t, mendTime, func() error {
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
	t.Parallel()
	raced.Skip(t, "a ward that runs against the clock")
	dir := filepath.Join(t.TempDir(), "data")
	if err := os.Mkdir(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	address := start(t, "demo", "--speed", "10", "--data", dir, "--listen", "127.0.0.1:0")
	// Two minutes of a ward, no faster than a busy machine with the race detector
	// can judge them: what comes too late is kept, and not judged.
	time.Sleep(12 * time.Second)
	eventually(t, longEnough, func() error {
		if all, err := get[struct{ Alerts []any }](address, "/api/v1/alerts"); err != nil || len(all.Alerts) == 0 {
			return fmt.Errorf("no alert is there: %v", err)
		}
		return nil
	})
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
	if said := command(0, "doctor", "-c", config); !strings.Contains(said, "all of it can be read") || !strings.Contains(said, "one is running") {
		t.Errorf("the doctor says: %s", said)
	}
	// Others read the record beside it; that they take no room TestLook tells.
	command(0, "export", "-c", config, "--place", "bench-1", "--format", "csv", "--out", filepath.Join(t.TempDir(), "live"))
	if said := command(0, "rehearse", "-c", config, "--json"); !strings.Contains(said, `"raised"`) || !strings.Contains(said, `"summary"`) {
		t.Errorf("a rehearsal of a running daemon's record says: %s", said)
	}
	rehearsesOnline(t, address)

	again := filepath.Join(t.TempDir(), "again")
	command(0, "restore", copied, "--data", again)
	command(0, "export", "-c", config, "--data", again, "--place", "bed-1", "--format", "edf", "--out", filepath.Join(t.TempDir(), "bed.edf"))
	// What the copy holds judged and not yet kept, the next start keeps, as after
	// a kill; so the restored ward runs on for a while and is let end by itself.
	before := kept(t, again)
	known := historyUntil(t, address, end(t, copied))
	t.Run("restored", func(t *testing.T) {
		sameHistory(t, start(t, "demo", "--speed", "10", "--data", again, "--listen", "127.0.0.1:0"), end(t, copied), known)
	})
	live := kept(t, again)
	if len(before) == 0 || len(live) < len(before) || !slices.Equal(live[:len(before)], before) {
		t.Errorf("the copy had %d changes of alerts, and %d after it went on", len(before), len(live))
	}
	sameAlerts(t, live, filepath.Join(again, "larch.yaml"))
}

// end returns the last instant of the scans in a record, less three seconds at ten times the
// pace, in which what came was still on its way into the history where a machine is busy.
func end(t *testing.T, dir string) time.Time {
	t.Helper()
	var last sample.Instant
	store, err := sqlite.Open(t.Context(), dir, sqlite.Options{Reserve: -1})
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	head, err := store.Head(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for in, err := range store.Inputs(t.Context(), 1, head.Ord) {
		if err != nil {
			t.Fatal(err)
		}
		if in.Scan != nil {
			last = max(last, in.Scan.At)
		}
	}
	return last.Add(-30 * time.Second).Time().Truncate(time.Second)
}

// A trace is what a daemon answers about the signals of a place.
type trace struct {
	Series []struct {
		Name           string
		T              []time.Time
		Min, Mean, Max []*float64
	}
}

// historyUntil returns a minute of all signals of a wrap and a bed.
func historyUntil(t *testing.T, address string, to time.Time) (all [2]trace) {
	t.Helper()
	for i, place := range []string{"bench-1", "bed-1"} {
		var err error
		all[i], err = get[trace](address, fmt.Sprintf("/api/v1/places/%s/signals?points=60&from=%s&to=%s", place,
			url.QueryEscape(to.Add(-time.Minute).Format(time.RFC3339)), url.QueryEscape(to.Format(time.RFC3339))))
		if err != nil {
			t.Errorf("history of %s: %v", place, err)
		}
	}
	return all
}

// sameHistory waits until a restored daemon tells of the past what the one that
// was copied told, to a hundredth of a unit.
func sameHistory(t *testing.T, address string, to time.Time, want [2]trace) {
	var wrong string
	for deadline := time.Now().Add(mendTime); time.Now().Before(deadline); time.Sleep(50 * time.Millisecond) {
		got := historyUntil(t, address, to)
		if wrong = different(got, want); wrong == "" {
			return
		}
	}
	t.Errorf("the restored history is another one: %s", wrong)
}

func different(got, want [2]trace) string {
	values := 0
	for i := range want {
		if len(got[i].Series) != len(want[i].Series) {
			return fmt.Sprintf("%d series, not %d", len(got[i].Series), len(want[i].Series))
		}
		for k, w := range want[i].Series {
			g := got[i].Series[k]
			if g.Name != w.Name || !slices.EqualFunc(g.T, w.T, time.Time.Equal) {
				return fmt.Sprintf("%s at %d instants, not %s at %d", g.Name, len(g.T), w.Name, len(w.T))
			}
			for _, pair := range [][2][]*float64{{g.Min, w.Min}, {g.Mean, w.Mean}, {g.Max, w.Max}} {
				for j := range pair[1] {
					a, b := pair[0][j], pair[1][j]
					if a == nil && strings.Contains(w.Name, ".used/") {
						continue // what rules made of the last minute is not made again
					}
					if b == nil {
						continue // a busy machine judges some readings late, and a start all that were kept
					}
					if a == nil || math.Abs(*a-*b) > 0.01 {
						return fmt.Sprintf("%s at %v is %s, not %s", w.Name, w.T[j], written(a), written(b))
					}
					values++
				}
			}
		}
	}
	if values < 500 {
		return fmt.Sprintf("only %d values", values)
	}
	return ""
}

func written(v *float64) string {
	if v == nil {
		return "not known"
	}
	return fmt.Sprint(*v)
}
