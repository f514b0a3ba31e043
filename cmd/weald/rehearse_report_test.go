package main

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/record"
	"weald/stream/selfwatch"
)

func TestRatesOfAlertsAreWrittenForPeople(t *testing.T) {
	for rate, want := range map[float64]string{
		0: "0.00", 2.7e-9: "under 0.01", 0.01: "0.01", 0.246: "0.25", 1.44: "1.4", 72.4: "72", 12345: "12345",
	} {
		if got := perHour(rate); got != want {
			t.Errorf("%v an hour is written %q, want %q", rate, got, want)
		}
	}
}

func TestARateIsNotMadeOfLessThanAnHour(t *testing.T) {
	if got, want := alertRate(400, 9*time.Second), "9s is too short for a rate of alerts by the hour"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if got, want := alertRate(4, 90*time.Minute), "4.0 alerts per place and hour"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

// A line for programs says for how long a condition had lasted as the API does: cut to the millisecond.
func TestALineOfARehearsalHasMilliseconds(t *testing.T) {
	if got := lineOf(&alert.Event{Held: 7*time.Second + 123*time.Millisecond + 999_999}).HeldS; got != 7.123 {
		t.Errorf("held_s is %v, want 7.123", got)
	}
}

// Alerts of the daemon itself are in the record beside those of the rules. A rehearsal
// finds the one kind again, and says how many there are of the other in its time.
func TestARehearsalSaysWhatItDoesNotJudge(t *testing.T) {
	dir := t.TempDir()
	if err := smallRecord(filepath.Join(dir, "record")); err != nil {
		t.Fatal(err)
	}
	store, done := recordIn(t, filepath.Join(dir, "record"))
	at := func(s int) sample.Instant { return sample.At(time.Date(2026, 3, 1, 22, 0, s, 0, time.UTC)) }
	for _, f := range []struct {
		at    int
		fault record.Fault
	}{
		{5, record.Fault{Subject: record.SelfFault + selfwatch.Disk, Text: "only 1.0 GB are free"}},
		{25, record.Fault{Subject: "bridge logger", Text: "it is gone"}}, // no alert
		{30, record.Fault{Subject: record.SenderFault + "desk", Text: "it does not get through"}},
		{35, record.Fault{Subject: record.SelfFault + selfwatch.Disk, Over: true, Text: "there is room again"}},
		{50, record.Fault{Subject: record.SenderFault + "desk", Over: true, Text: "it does"}},
	} {
		if _, err := store.Append(t.Context(), record.Entry{At: at(f.at), Written: at(f.at), Body: f.fault}); err != nil {
			t.Fatal(err)
		}
	}
	if n := ownAlternate(t, store); n != 4 {
		t.Errorf("%d entries are of the daemon's own alerts", n)
	}
	done()
	name := filepath.Join(dir, "ward.yaml")
	if err := os.WriteFile(name, []byte(`data: record
web: {listen: "127.0.0.1:0"}
bridges:
  - {id: logger, link: {serial: {port: ./none}}, format: line, sources: [{number: 0, id: leg, channels: 2, rate: 2, unit: mmHg}]}
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [logger/leg/0]}]}
rules:
  - {id: tight, limit: {watch: ankle.pressure, above: 60}, on_delay: 10s, priority: medium}
`), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		own  int
	}{{nil, 2}, {[]string{"--from", "2026-03-01T22:00:10Z"}, 1}, {[]string{"--from", "2026-03-01T22:00:31Z"}, 0}} {
		events, s := rehearsed(t, append([]string{"-c", name}, c.args...)...)
		if s.Own != c.own || s.Scans == 0 {
			t.Errorf("%v: %d of the daemon's own beside %d scans, want %d", c.args, s.Own, s.Scans, c.own)
		}
		for _, e := range events {
			if e.Place == "" {
				t.Errorf("%+v was judged again", e)
			}
		}
	}
}
