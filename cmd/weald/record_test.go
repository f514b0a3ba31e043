package main

import (
	"bytes"
	"cmp"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"weald/ingest/raced"
	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/stream/journal"
	"weald/stream/record"
	"weald/stream/rehearsal"
)

var wholeDay = flag.Bool("day", false, "let the rehearsed day last all of its 24 hours, 12 minutes")

const dayConfig = `
data: record
web: {listen: "127.0.0.1:0"}
bridges:
  - id: steady
    link: {tcp: {dial: %q}}
    format: packed
    sources: [{number: 1, id: leg, channels: 1, rate: 0.5, calibration: {slope: 0.1, u: 1}, stale_after: 3m}]
  - id: rough
    link: {tcp: {dial: %q}}
    format: packed
    sources: [{number: 1, id: leg, channels: 3, rate: 0.5, calibration: {slope: 0.1, u: 1}, stale_after: 1m}]
  - id: locker
    link: {tcp: {dial: %q}}
    format: packed
    sources: [{number: 1, id: seat, channels: 1, rate: 0.5, calibration: {slope: 0.1, u: 1}, stale_after: 1m}]
  - id: logger
    link: {tcp: {dial: %q}}
    format: delimited
    delimited: {separator: ";", time: {column: 0, as: rfc3339}, channels: [1]}
    sources: [{number: 0, id: leg, channels: 1, rate: 0.5, unit: mmHg, stale_after: 1m}]
  - id: mat
    link: {tcp: {dial: %q}}
    format: packed
    sources: [{number: 1, id: mat, channels: 24, rate: 0.5, calibration: {slope: 0.1, offset: -30, u: 2}, stale_after: 1m}]
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [steady/leg/0]}]}
  - {id: bench-2, kind: wrap, sites: [{id: ankle, channels: [rough/leg/0, rough/leg/1]}, {id: calf, channels: [rough/leg/2]}]}
  - {id: bench-3, kind: wrap, sites: [{id: ankle, channels: [locker/seat/0]}, {id: calf, channels: [logger/leg/0]}]}
  - {id: bed-1, kind: bed, mat: {source: mat/mat, rows: 4, columns: 6, pitch_mm: [25, 25], head: first_row}}
rules:
  - {id: two-hours, at: {place: bench-1}, limit: {watch: ankle.pressure, above: 32}, on_delay: 2h, forget_after: 24h, priority: high}
  - {id: tight, limit: {watch: ankle.pressure, above: 50, deadband: 3}, on_delay: 2m, off_delay: 1m, resets_after: 30s, priority: medium}
  - {id: slack, limit: {watch: calf.pressure, below: 30}, on_delay: 1m, priority: low}
  - {id: sore, limit: {watch: mat.pressure, above: 30}, on_delay: 90s, off_delay: 10s, resets_after: 1m, priority: medium}
  - {id: cells, at: {kind: bed}, quality: {unchanged: 20m, share: 0}, on_delay: 2m, off_delay: 1m, priority: low}
  - {id: sensors, at: {place: bench-2}, quality: {unchanged: 20m}, on_delay: 2m, off_delay: 1m, priority: low}
  - {id: stiff, at: {place: bench-2}, limit: {watch: ankle.stiffness, above: 2}, on_delay: 10s, priority: low}
  - {id: power, at: {place: bench-1}, quality: {of: [battery]}, on_delay: 3m, off_delay: 1m, priority: low}
`

// A day in which everything happens: frames get lost, come twice and overtake
// each other; bridges lose their way, keep what they measure and send it later,
// reboot, have batteries that run low, and clocks that are wrong; a cell of a mat is
// dead; two people say how a limb rests, and acknowledge, shelve and take out of
// service what they find; and three times the daemon is killed (-9). Judged again from
// its record, the day gives the alerts of the live runs, to the byte and in their
// order, none lost and none doubled, and whatever a daemon said yes to is kept. What a
// kill left judged and not kept, the next start keeps; so the last run is let end by
// itself.
func TestLiveIsRehearsed(t *testing.T) {
	t.Parallel()
	raced.Skip(t, "a day that runs against the clock")
	speed, lives := 720.0, []time.Duration{7 * time.Second, 6 * time.Second, 5 * time.Second, 9 * time.Second}
	if *wholeDay {
		speed, lives = 120, []time.Duration{3 * time.Minute, 2 * time.Minute, 4 * time.Minute, 3 * time.Minute}
	}
	w := newWorld(speed)
	bridges, ports, endBridges := dayBridges(t, w)
	name := write(t, "day.yaml", fmt.Sprintf(dayConfig, ports["steady"], ports["rough"], ports["locker"], ports["logger"], ports["mat"]))
	dir := filepath.Join(filepath.Dir(name), "record")
	const changes, deeds = 40, 20 // at least, to prove anything
	var done []deed
	var acted atomic.Int32
	for i, lasting := range lives {
		v := launchIn(t, w, name)
		busy := make(chan []deed)
		for n, code := range []string{"K-07", "K-08"} {
			go func() { busy <- people(v.address, code, uint64(2*i+n), &acted) }()
		}
		time.Sleep(lasting)
		if i == len(lives)-1 { // on a slow machine the day is longer
			eventually(t, longEnough, func() error {
				told := text(t, v.address, "/api/v1/alerts/changes?quiet=true&newest=5000")
				if n := strings.Count(told, `"what"`); n < changes || !strings.Contains(told, "~two-hours~") || acted.Load() < deeds {
					return fmt.Errorf("%d changes of alerts, %d deeds, and %v that of two hours", n, acted.Load(), strings.Contains(told, "~two-hours~"))
				}
				return nil
			})
		}
		if i < len(lives)-1 {
			v.kill()
			time.Sleep(time.Duration(float64(12*time.Minute) / speed)) // of the world
		} else {
			v.end()
		}
		done = append(append(done, <-busy...), <-busy...)
		for line := range strings.Lines(v.stderr.String()) {
			if strings.Contains(line, "a beat is held back") {
				continue // the machine was slow for a second, which is minutes of this world
			}
			if strings.Contains(line, "level=ERROR") || strings.Contains(line, "not kept") {
				t.Errorf("a run said: %s", line)
			}
		}
	}
	endBridges()
	for id, b := range bridges {
		t.Logf("%s: %d frames sent, %d of them later, %d starts", id, b.sent, b.late, b.started)
	}
	day := readDay(t, dir)
	day.happened(t)
	live := day.changes
	keptDeeds(t, dir, done)
	sameAlerts(t, live, name)
	keptOnce(t, live)
	framesOnce(t, dir, "steady/leg", "rough/leg", "locker/seat", "mat/mat")
	if len(live) < changes || len(done) < deeds {
		t.Errorf("%d changes of alerts and %d deeds are too few to prove anything", len(live), len(done))
	}
	day.twoHours(t, len(lives)-1)
}

// A dayRecord is what a test wants to know of the record of a day.
type dayRecord struct {
	changes []string // of alerts, as a rehearsal prints them, in their order
	raised  []sample.Instant

	scans, stored, overtaken, gaps, restarts int
	withheld                                 int // readings of the dead cell
	low                                      int // how often a battery was
	marks, stiff                             int // how a limb rests, and alerts that came of it
	steady                                   []record.Input
}

// kept reads the changes of alerts from a record, as a rehearsal prints them.
func kept(t *testing.T, dir string) []string { return readDay(t, dir).changes }

func readDay(t *testing.T, dir string) *dayRecord {
	t.Helper()
	store, done := recordIn(t, dir)
	defer done()
	d := &dayRecord{}
	for e, err := range store.Entries(t.Context(), journal.Query{Kinds: []record.Kind{record.KindTransition}}) {
		if err != nil {
			t.Fatal(err)
		}
		event := e.Body.(record.Transition).Event
		if event.Rule == "two-hours" && event.What == alert.Raised {
			d.raised = append(d.raised, event.At)
		}
		if event.Rule == "stiff" && event.What == alert.Raised {
			d.stiff++
		}
		if event.Rule == "power" && event.What == alert.Raised {
			d.low++
		}
		d.changes = append(d.changes, printed(t, &event))
	}
	for finding, err := range store.Check(t.Context()) {
		t.Errorf("the record is not in order: %v (%v)", finding, err)
	}
	last := map[string]*record.Scan{}
	for in, err := range store.Inputs(t.Context(), 1, math.MaxUint64) {
		if err != nil {
			t.Fatal(err)
		}
		if in.Tick != nil && in.Tick.Place == "bench-1" || in.Source == "steady/leg" {
			d.steady = append(d.steady, in)
		}
		if in.Entry != nil && in.Entry.Body.Kind() == record.KindMark {
			d.marks++
		}
		if in.Scan == nil {
			continue
		}
		d.scans++
		if in.Source == "mat/mat" && sample.IsUnknown(in.Scan.Raw[8]) {
			d.withheld++
		}
		was := last[in.Source]
		switch {
		case in.Scan.Stored:
			d.stored++
			continue
		case was != nil && in.Scan.At < was.At:
			d.overtaken++
			continue
		case was != nil && in.Scan.Counted && int32(in.Scan.Millis-was.Millis) < 0:
			d.restarts++
		case was != nil && in.Scan.Counted && in.Scan.First-was.Seq > 1:
			d.gaps++
		}
		last[in.Source] = in.Scan
	}
	return d
}

// happened fails the test if the day was an easy one.
func (d *dayRecord) happened(t *testing.T) {
	t.Helper()
	t.Logf("%d scans, %d sent later, %d overtaken, %d gaps, %d restarts of devices, %d readings of a dead cell left out, %d marks; %d changes of alerts",
		d.scans, d.stored, d.overtaken, d.gaps, d.restarts, d.withheld, d.marks, len(d.changes))
	for what, n := range map[string]int{
		"scan was sent later": d.stored, "scan was overtaken": d.overtaken, "frame was lost": d.gaps,
		"device restarted": d.restarts, "reading of the dead cell was left out": d.withheld,
		"battery was low": d.low, "mark was set": d.marks, "stiffness was raised": d.stiff,
	} {
		if n == 0 {
			t.Errorf("no %s: the day proves nothing about that", what)
		}
	}
}

// twoHours works out by hand when a hold of two hours over a steady pressure was
// due: known time added up, from reading to reading and at most three minutes each, so
// that the time in which the daemon was dead counts for nothing. That is when the
// alert was raised, to the nanosecond.
//
// Readings that a stalled machine hands over in a heap may be too late to be judged: those
// from before something else that was due in its place meanwhile, all of them at most, and
// none if nothing was. Then it was raised in between.
func (d *dayRecord) twoHours(t *testing.T, kills int) {
	t.Helper()
	last, held, silences := d.heldForTwoHours(true)
	first, _, _ := d.heldForTwoHours(false)
	t.Logf("%v of known load, with %d silences; due at %v, and %v earlier with all that was late", held.Round(time.Second), silences, last, last.Sub(first))
	if silences < kills {
		t.Errorf("%d silences, and %d times the daemon was dead", silences, kills)
	}
	if last == sample.Never {
		t.Error("less than two hours were known: the day proves nothing about the hold")
	} else if len(d.raised) != 1 || d.raised[0] < first || d.raised[0] > last {
		t.Errorf("the hold of two hours was raised at %v, want once, from %v to %v", d.raised, first, last)
	}
}

// heldForTwoHours returns when two hours were known, how long all of it was, and how often
// there was a silence; strictly if no reading counts that is older than a tick before it.
func (d *dayRecord) heldForTwoHours(strictly bool) (raised sample.Instant, held time.Duration, silences int) {
	const lasts, due = 3 * time.Minute, 2 * time.Hour
	now, known := sample.Past, sample.Past // evaluated so far; how long the last value lasts
	raised = sample.Never
	pass := func(to sample.Instant) {
		if to <= now {
			return
		}
		if by := min(to, known).Sub(now); now != sample.Past && by > 0 {
			if held < due && held+by >= due {
				raised = now.Add(due - held)
			}
			held += by
		}
		now = to
	}
	for _, in := range d.steady {
		switch {
		case in.Tick != nil:
			if strictly {
				pass(in.Tick.At)
			}
		case in.Scan.At >= now:
			if known != sample.Past && in.Scan.At.Sub(known) > lasts {
				silences++
			}
			pass(in.Scan.At)
			known = in.Scan.At.Add(lasts)
		}
	}
	return raised, held, silences
}

// printed is a change as a rehearsal prints it.
func printed(t *testing.T, e *alert.Event) string {
	t.Helper()
	b, err := json.Marshal(lineOf(e))
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// sameAlerts holds the changes of alerts of a record, in the order in which they
// were kept, to those that a rehearsal finds, in the order in which it finds
// them; and to what the command prints, which sorts them by time.
func sameAlerts(t *testing.T, live []string, name string) summary {
	t.Helper()
	c := configOf(t, name)
	var found []string
	var stderr bytes.Buffer
	_, err := rehearseRecord(t.Context(), c, []*rules.Plan{c.Plan()}, rehearsal.Options{From: sample.Past, To: sample.Never, Event: func(e alert.Event) { found = append(found, printed(t, &e)) }}, &stderr)
	if err != nil || stderr.Len() > 0 {
		t.Fatalf("%v, %s", err, stderr.String())
	}
	same(t, "in the order of the record", live, found)

	events, s := rehearsed(t, "-c", name)
	var shown []string
	for i := range events {
		b, err := json.Marshal(events[i])
		if err != nil {
			t.Fatal(err)
		}
		shown = append(shown, string(b))
	}
	byTime := slices.Clone(live)
	slices.SortStableFunc(byTime, func(a, b string) int { return cmp.Compare(instantOf(t, a), instantOf(t, b)) })
	same(t, "as they are printed", byTime, shown)
	return s
}

func instantOf(t *testing.T, line string) sample.Instant {
	t.Helper()
	var e eventLine
	if err := json.Unmarshal([]byte(line), &e); err != nil {
		t.Fatal(err)
	}
	at, err := time.Parse(time.RFC3339Nano, e.At)
	if err != nil {
		t.Fatal(err)
	}
	return sample.At(at)
}

// same tells what differs between what was live and what was found again.
func same(t *testing.T, what string, live, again []string) {
	t.Helper()
	if slices.Equal(live, again) {
		return
	}
	for i := range max(len(live), len(again)) {
		if i >= len(live) || i >= len(again) || live[i] != again[i] {
			t.Errorf("%s: %d changes live, %d rehearsed, and number %d is another", what, len(live), len(again), i)
			break
		}
	}
	for _, l := range live {
		if !slices.Contains(again, l) {
			t.Errorf("%s, live only:      %s", what, l)
		}
	}
	for _, l := range again {
		if !slices.Contains(live, l) {
			t.Errorf("%s, rehearsed only: %s", what, l)
		}
	}
}
