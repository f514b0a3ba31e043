package main

import (
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/journal/sqlite"
	"weald/stream/record"
)

// What goes is what was shown, is in the log and in the record, and is no more
// than that: an alert that stands stays, however old.
func TestRetireDeletesWhatItShows(t *testing.T) {
	dir := t.TempDir()
	if err := smallRecord(dir); err != nil {
		t.Fatal(err)
	}
	s, err := sqlite.Open(t.Context(), dir, sqlite.Options{Reserve: -1})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	now := sample.At(time.Date(2026, 3, 4, 12, 0, 0, 0, time.UTC))
	limits := journal.Limits{journal.Marks: {Age: 24 * time.Hour}, journal.Transitions: {Age: 24 * time.Hour}, journal.Readings: {Age: 24 * time.Hour}}
	var shown []string
	tell := func(text string) { shown = append(shown, text) }
	if err := tellPlan(t.Context(), s, limits, now, tell); err != nil {
		t.Fatal(err)
	}
	const what = "marks from 2026-03-01 to 2026-03-01, 1 entries"
	if len(shown) != 1 || !strings.HasPrefix(shown[0], "would be deleted: "+what) {
		t.Fatalf("shown: %q", shown)
	}
	var log strings.Builder
	if err := retireOnce(t.Context(), s, s, limits, now, slog.New(slog.NewTextHandler(&log, nil))); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(log.String(), what) {
		t.Errorf("the log says %q", log.String())
	}
	var kinds []record.Kind
	for e, err := range s.Entries(t.Context(), journal.Query{}) {
		if err != nil {
			t.Fatal(err)
		}
		kinds = append(kinds, e.Body.Kind())
		if f, ok := e.Body.(record.Fault); ok && !strings.Contains(f.Text, what) {
			t.Errorf("the record says %q", f.Text)
		}
	}
	if !slices.Equal(kinds, []record.Kind{record.KindSession, record.KindTransition, record.KindFault, record.KindAudit}) {
		t.Errorf("left are %v", kinds)
	}
	for f, err := range s.Check(t.Context()) {
		t.Errorf("%v %v", f, err)
	}
}

// Nobody but the daemon's own account can read any file of a record.
func TestRecordIsClosedToOthers(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "record")
	if err := smallRecord(dir); err != nil {
		t.Fatal(err)
	}
	s, err := sqlite.Open(t.Context(), dir, sqlite.Options{Reserve: 1 << 20})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	at := sample.At(time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC))
	if err := s.AppendReadings(t.Context(), []record.Block{{Source: "a/b", Scans: []record.Scan{{Ord: 1000, At: at, Arrived: at, Raw: []float64{1}}}}}, nil); err != nil {
		t.Fatal(err)
	}
	names, err := filepath.Glob(filepath.Join(dir, "*"))
	if err != nil || len(names) < 6 { // two days, the main file, their logs, lock
		t.Fatalf("%q, %v", names, err)
	}
	for _, name := range append(names, dir) {
		info, err := os.Stat(name)
		if err != nil {
			t.Fatal(err)
		}
		if info.Mode().Perm()&0o077 != 0 {
			t.Errorf("%s has mode %v", filepath.Base(name), info.Mode().Perm())
		}
	}
}
