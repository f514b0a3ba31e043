package main

import (
	"bytes"
	"context"
	"errors"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/stream/journal/sqlite"
	"weald/stream/record"
	"weald/stream/sessions"
)

// What a daemon shows is what the command makes of the same record, beside it and
// after it, to the byte.
func TestReportsAreTheSameEverywhere(t *testing.T) {
	folder := t.TempDir()
	if err := smallRecord(filepath.Join(folder, "data")); err != nil {
		t.Fatal(err)
	}
	// As long as a session lasts its report goes on with the record.
	if err := endSession(filepath.Join(folder, "data")); err != nil {
		t.Fatal(err)
	}
	config := filepath.Join(folder, "weald.yaml")
	// The bridge is not there, so nothing comes into the record.
	written := `data: ` + filepath.Join(folder, "data") + `
web: {listen: "127.0.0.1:0"}
bridges:
  - id: logger
    link: {serial: {port: ` + filepath.Join(folder, "none") + `, baud: 115200}}
    format: line
    sources: [{number: 0, id: leg, channels: 2, rate: 2, unit: mmHg}]
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [logger/leg/0]}, {id: calf, channels: [logger/leg/1]}]}
rules:
  - {id: tight, limit: {watch: ankle.pressure, above: 60}, on_delay: 10s, priority: medium}
`
	if err := os.WriteFile(config, []byte(written), 0o600); err != nil {
		t.Fatal(err)
	}
	made := func(name string) []byte {
		t.Helper()
		var stdout, stderr bytes.Buffer
		out := filepath.Join(folder, name)
		if code := run(t.Context(), []string{"report", "session", "-c", config, "--session", "s-one", "-o", out}, &stdout, &stderr); code != 0 {
			t.Fatalf("report ended with %d: %s", code, stderr.String())
		}
		b, err := os.ReadFile(out)
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	var shown string
	var beside []byte
	t.Run("a running daemon", func(t *testing.T) {
		address := start(t, "run", "-c", config)
		// The record was never judged to its end: a start does that, beside all else.
		eventually(t, longEnough, func() error {
			if shown = text(t, address, "/api/v1/reports/session/s-one"); !strings.Contains(shown, "22:00:40") {
				return errors.New("what the record has was not judged to its end")
			}
			return nil
		})
		beside = made("beside.html")
		for path, status := range map[string]int{
			"session/s-none": 404, "attempt/a-none": 404, "night/bench-1?from=2026-03-01T22:00:00Z": 422, "night/bench-1": 422, "night/nowhere": 404,
			"trial?to=2001-01-01T00:00:00Z": 404, "trial?person=K-07": 200,
		} {
			r, err := http.Get(address + "/api/v1/reports/" + path)
			if err != nil {
				t.Fatal(err)
			}
			if r.Body.Close(); r.StatusCode != status {
				t.Errorf("%s: %d, want %d", path, r.StatusCode, status)
			}
		}
	})
	if after := made("after.html"); string(beside) != shown || string(after) != shown || !bytes.Contains(after, []byte("Session of K-07 at bench-1")) {
		t.Errorf("the daemon's page has %d bytes, the command's beside it %d, and after it %d", len(shown), len(beside), len(after))
	}
}

// endSession ends the session of the small record, a minute after it began.
func endSession(dir string) error {
	ctx := context.Background()
	store, err := sqlite.Open(ctx, dir, sqlite.Options{Reserve: -1})
	if err != nil {
		return err
	}
	at := sample.At(time.Date(2026, 3, 1, 22, 1, 0, 0, time.UTC))
	_, err = store.Append(ctx, record.Entry{At: at, Written: at, Place: "bench-1", Author: "T-1", Body: record.Session{ID: "s-one", What: sessions.Ended, Code: "K-07", Config: 1}})
	return errors.Join(err, store.Close())
}
