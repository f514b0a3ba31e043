package rules_test

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/rules/exposure"
	"weald/rules/hold"
)

// everyKind is wholePlan with what it lacks: on the bed doses of cells and the faults of
// a mat, on the seat those of sites, and certainties.
func everyKind() *rules.Plan {
	plan := wholePlan()
	table := []exposure.Point{{MMHg: 31, Time: 30 * time.Second}, {MMHg: 40, Time: 5 * time.Second}}
	all := &rules.Quality{Of: rules.Faults, Unchanged: 2 * time.Second, Share: 0.5, Loss: 0.2, Clock: time.Second, Battery: 20}
	sure, maybe := above("mat.pressure", 34, time.Second), above("ankle.pressure", 36, time.Second)
	sure.Certainty, maybe.Certainty = 0.95, 0.05
	for i, r := range []rules.Rule{
		{Exposure: &rules.Exposure{Table: table, Share: 0.5, Floor: 30, Recovery: 5 * time.Second}, At: rules.Where{Kind: rules.Bed}, ResetsAfter: time.Second},
		{Quality: all, OnDelay: time.Second},
		sure, maybe,
		{Limit: &rules.Limit{Watch: "mat.index", Above: ptr(30)}, While: "occupied and mat.mean < 38", OffDelay: time.Second},
		{Formula: "relief.since > 15 and left.pressure > right.pressure", At: rules.Where{Kind: rules.Seat}},
	} {
		r.ID, r.Priority, r.ForgetAfter = fmt.Sprint("more-", i), alert.High, 6*time.Second
		r.Latched, r.EscalateAfter = i%2 == 0, 4*time.Second
		plan.Rules = append(plan.Rules, r)
	}
	return plan
}

// drawInput draws a scan with all that a scan may carry, a tick or something that a
// person does, and returns how it is given to an engine, so much later than drawn. Scans
// are up to 120 ms old when they come, or as old as delays say.
func drawInput(t *rapid.T, plan *rules.Plan, now *sample.Instant, delays ...int) func(e *rules.Engine, later time.Duration) {
	*now = now.Add(ms(rapid.SampledFrom([]int{0, 100, 300, 900, 2600}).Draw(t, "later")))
	if rapid.IntRange(0, 9).Draw(t, "what") == 0 {
		place, which := rapid.IntRange(0, len(plan.Places)-1).Draw(t, "place"), rapid.IntRange(0, 99).Draw(t, "alert")
		verb, then := rapid.SampledFrom(alert.Verbs()).Draw(t, "verb"), *now
		return func(e *rules.Engine, later time.Duration) {
			all := e.Progress(place, nil)
			a := alert.Action{Verb: verb, At: then.Add(later), Who: "K-07", Why: "bath", Until: then.Add(later + 9*time.Second)}
			_ = e.Act(place, all[which%len(all)].Key, a) // what is refused changes nothing
		}
	}
	source := rapid.IntRange(0, 3).Draw(t, "source")
	delay, n := rapid.SampledFrom(append(delays, 0, 0, 120)).Draw(t, "delay"), plan.Sources[source].Channels
	if source == 3 && delay == 1500 {
		delay = 120 // a seat that is late stays where the tick has brought it
	}
	x := sample.Scan{Source: source, Arrived: *now, At: now.Add(-ms(delay)), Rail: 400}
	x.Seq = uint32(rapid.IntRange(0, 12).Draw(t, "seq"))
	x.First, x.Counted, x.Stored = x.Seq, rapid.Bool().Draw(t, "counted"), rapid.IntRange(0, 9).Draw(t, "stored") == 0
	x.Battery = sample.ChargeOf(rapid.IntRange(-1, 30).Draw(t, "battery"))
	base := float64(rapid.SampledFrom([]int{0, 31, 34, 36, 40}).Draw(t, "base"))
	for i := range n {
		v := base + float64(rapid.IntRange(0, 3).Draw(t, "v"))
		if rapid.IntRange(0, 20).Draw(t, "lost") == 0 {
			v = math.NaN()
		}
		x.Values, x.Raw = append(x.Values, v), append(x.Raw, 10*v)
		if i == 0 && rapid.IntRange(0, 9).Draw(t, "withheld") == 0 {
			x.Withheld = []int{0}
		}
	}
	if rapid.Bool().Draw(t, "certain") {
		x.U, x.Shared, x.Extrapolated = repeat(1.5, n), repeat(0.5, n), make([]bool, n)
		x.Extrapolated[n-1] = base == 40
		if rapid.Bool().Draw(t, "expired") {
			x.Expired = make([]bool, n)
			x.Expired[0] = true
		}
	}
	tick := rapid.Bool().Draw(t, "tick")
	return func(e *rules.Engine, later time.Duration) {
		x := x
		x.At, x.Arrived = x.At.Add(later), x.Arrived.Add(later)
		for place := range plan.Places {
			// Between a tick and the next scan, for how long somebody has sat is shown as of the
			// last scan, and after a restart as of the tick. So who ticks here also scans.
			if tick && plan.Places[place].Uses(source) {
				e.TickPlace(place, x.Arrived)
			}
		}
		e.Scan(&x)
	}
}

// differing are the lines in which two texts differ.
func differing(a, b string) (out string) {
	one, two := strings.Split(a, "\n"), strings.Split(b, "\n")
	for i := range min(len(one), len(two)) {
		if one[i] != two[i] {
			out += one[i] + "\nand not\n" + two[i] + "\n"
		}
	}
	return out
}

// An engine that is stopped and begun anew after any of its inputs, or after all of
// them, goes on as one that never was: with the same changes, sentences and numbers, in
// whatever can be asked of it.
func TestARestartAnywhereIsNone(t *testing.T) {
	changes := map[string]int{}
	fewUntil(t, 5, func() (any, bool) { return changes, len(changes) >= 6 }, func(t *rapid.T) {
		plan := everyKind()
		straight, stopped, now := begun(plan), begun(plan), sample.Instant(0)
		always := rapid.Bool().Draw(t, "always")
		for n := range rapid.IntRange(15, 30).Draw(t, "inputs") {
			give := drawInput(t, plan, &now, 1500)
			give(straight.Engine, 0)
			give(stopped.Engine, 0)
			if always || rapid.IntRange(0, 4).Draw(t, "restart") == 0 {
				next, err := stopped.restarted()
				if err != nil {
					t.Fatal(err)
				}
				stopped = next
			}
			if n%3 > 0 {
				continue // all that can be asked is a lot
			}
			for place := range plan.Places {
				if a, b := stopped.state(place), straight.state(place); a != b {
					t.Fatalf("after input %d place %d is otherwise:\n%s", n, place, differing(a, b))
				}
			}
		}
		straight.Finish()
		stopped.Finish()
		if stopped.all() != straight.all() || stopped.late != straight.late {
			t.Fatalf("with restarts:\n%s\nwithout:\n%s", stopped.all(), straight.all())
		}
		for _, line := range straight.lines {
			changes[strings.Split(line, "~")[1]]++
		}
	})
}

// A snapshot that was cut off anywhere, or is of no known version, is refused as such,
// and leaves the place as a new engine has it.
func TestACutSnapshotLeavesThePlaceAlone(t *testing.T) {
	plan := everyKind()
	s := begun(plan)
	for n := range 12 {
		x := sample.Scan{Source: n % 4, At: at(ms(500 * n)), Arrived: at(ms(500 * n)), Values: repeat(36, plan.Sources[n%4].Channels)}
		s.Scan(&x)
	}
	for place := range plan.Places {
		whole, other := s.SnapshotPlace(place, nil), begun(plan)
		empty := other.SnapshotPlace(place, nil)
		refused := func(b []byte, what any) {
			t.Helper()
			err := other.RestorePlace(place, b)
			if err == nil || !strings.Contains(err.Error(), plan.Places[place].ID) || !strings.Contains(err.Error(), hold.ErrSnapshot.Error()) {
				t.Errorf("%v of %d bytes of place %d: %v", what, len(whole), place, err)
			}
		}
		for n := 0; n < len(whole); n += 1 + n/6 {
			refused(whole[:n], n)
		}
		refused(append(bytes.Clone(whole), 0), "one more")
		for _, version := range []byte{0, 8, 255} {
			spoilt := bytes.Clone(whole)
			spoilt[0] = version
			refused(spoilt, fmt.Sprint("version ", version))
		}
		if !bytes.Equal(other.SnapshotPlace(place, nil), empty) {
			t.Errorf("place %d has taken something up", place)
		}
	}
}
