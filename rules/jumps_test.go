package rules_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules"
)

// A host that was suspended asks hours late for what was due long ago: all of it is told
// at once, in order, with the instants at which it would have been told in time, and the
// readings that come afterwards are judged as after any silence.
func TestAHostThatSleptTellsWhatWasDue(t *testing.T) {
	plan := bed(1, 4, above("back.peak", 32, 2*time.Second), above("heels.peak", 32, 2500*time.Millisecond), above("mat.pressure", 32, 2750*time.Millisecond))
	plan.Rules[1].ID, plan.Rules[2].ID = "second", "third"
	for i := range plan.Rules {
		plan.Rules[i].EscalateAfter = time.Hour
	}
	awake, asleep := newStory(t, plan), newStory(t, plan)
	for _, s := range []*story{awake, asleep} {
		s.scan(0, 0, 40, 0, 40, 0)
	}
	for awake.Next() <= at(9*time.Hour) {
		awake.Tick(awake.Next())
	}
	asleep.Tick(at(9 * time.Hour))
	asleep.expect(t, awake.lines...)
	if n := len(awake.lines); n != 16 { // four alerts, each raised, lost and escalated twice
		t.Errorf("%d changes were told: %q", n, awake.lines)
	}
	if asleep.Next() != sample.Never {
		t.Errorf("after all was told Next is %v", asleep.Next())
	}
	awake.lines = nil
	for _, s := range []*story{awake, asleep} {
		s.scan(0, 9*time.Hour+time.Second, 0, 0, 40, 0)
	}
	asleep.expect(t, awake.lines...)
}

// A clock that is set back makes scans that are late: nothing is judged, nothing is told
// twice, and what stood stands, until the clock is past where it was. One that is set
// forward makes a silence of what it has left out, and no more.
func TestAClockThatIsSet(t *testing.T) {
	r := above("mat.peak", 32, 10*time.Second)
	r.ForgetAfter = time.Hour
	s := newStory(t, bed(1, 2, r))
	play := func(from, to time.Duration, v float64) {
		for now := from; now <= to; now += time.Second {
			s.scan(0, now, v, 0)
		}
	}
	play(0, 20*time.Second, 40)
	play(5*time.Second, 19*time.Second, 0) // set back by 16 s, and the load is gone
	s.expect(t, "10s raised bed-4~tight~mat")
	if s.late != 15 {
		t.Errorf("%d scans were late, want 15", s.late)
	}
	play(20*time.Second, 22*time.Second, 0)
	s.expect(t, "20s cleared bed-4~tight~mat")
	play(23*time.Second, 29*time.Second, 40)
	play(29*time.Second+10*time.Minute, 40*time.Second+10*time.Minute, 40) // set forward by ten minutes
	// 6 s and the 3 s that the last reading lasts; then the tenth.
	s.expect(t, "10m30s raised bed-4~tight~mat")
}

// A century without a scan, and instants as early and as late as there are: time that
// nobody has heard of is silence, however long, and no sum of it runs over.
func TestTimeAtItsEnds(t *testing.T) {
	const century = 100 * 365 * 24 * time.Hour
	for _, begin := range []sample.Instant{math.MinInt64 + 1, -1, math.MaxInt64 - sample.Instant(century) - sample.Instant(time.Minute)} {
		plan := everyKind()
		for i := range plan.Rules {
			plan.Rules[i].ForgetAfter, plan.Rules[i].ResetsAfter = math.MaxInt64, math.MaxInt64
		}
		e, sink := engineOf(plan)
		now := begin
		feed := func() {
			for n := range 5 {
				for source := range plan.Sources {
					x := sample.Scan{Source: source, At: now, Arrived: now, Values: repeat(36+float64(n%3), plan.Sources[source].Channels)}
					e.Scan(&x)
				}
				now = now.Add(500 * time.Millisecond)
			}
		}
		feed()
		now = now.Add(century)
		e.Tick(now)
		feed()
		e.Finish()
		if len(sink.late) > 0 {
			t.Errorf("from %d on: %d scans were late", begin, len(sink.late))
		}
		raised := 0
		for _, ev := range sink.events {
			if ev.At < begin || ev.At > now || ev.Held < 0 || ev.Held > century+time.Minute {
				t.Errorf("from %d to %d: %+v", begin, now, ev)
			}
			if ev.What == "raised" {
				raised++
			}
		}
		if raised < 6 {
			t.Errorf("from %d on %d alerts were raised", begin, raised)
		}
		for place := range e.Places() {
			for _, p := range e.Progress(place, nil) {
				if p.Held < 0 || p.Raised && (p.Since < begin || p.Since > now) {
					t.Errorf("from %d on: %+v", begin, p)
				}
			}
			again, _ := engineOf(plan)
			if err := again.RestorePlace(place, e.SnapshotPlace(place, nil)); err != nil {
				t.Errorf("from %d on: %v", begin, err)
			}
		}
	}
}

// A mat of 2^16 cells is a mat: of all its cells the one that is loaded for too long is
// found, in its row and column, whether or not it lies in a region, and it is cleared with
// the last of its region.
func TestAMatOfManyCells(t *testing.T) {
	const rows, columns = 256, 256
	r := above("mat.pressure", 60, 3*time.Second)
	plan := bed(rows, columns, r)
	mat := plan.Places[0].Mat
	mat.PitchMM = [2]float64{8, 4}
	mat.Regions = []rules.Region{{ID: "corner", Cells: []int{rows*columns - 257, rows*columns - 1}}}
	plan.Lean = true
	s := newStory(t, plan)
	values := make([]float64, rows*columns)
	scans := func(from, to int) {
		for second := from; second < to; second++ {
			s.scan(0, time.Duration(second)*time.Second, values...)
		}
	}
	scans(0, 2)
	values[rows*columns-1], values[5*columns+7], values[0] = 61, 61, 60
	scans(2, 7)
	values[rows*columns-257], values[rows*columns-1] = 61, 0
	scans(7, 12)
	values[5*columns+7], values[rows*columns-257] = 0, 0
	scans(12, 13)
	got := slices.Clone(s.lines)
	slices.Sort(got)
	want := []string{"10s raised bed-4~tight~corner", "12s cleared bed-4~tight~corner", "12s cleared bed-4~tight~mat", "5s raised bed-4~tight~corner", "5s raised bed-4~tight~mat", "7s cleared bed-4~tight~corner"}
	if fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("happened %q, want %q", got, want)
	}
	for i, line := range s.lines {
		where := map[string]string{"5s raised bed-4~tight~mat": "row 6, column 8", "5s raised bed-4~tight~corner": "row 256, column 256", "10s raised bed-4~tight~corner": "row 255, column 256"}[line]
		if s.texts[i] == "" || where != "" && !strings.Contains(s.texts[i], where) {
			t.Errorf("%s says %q, without %q", line, s.texts[i], where)
		}
	}
}
