package rules_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"weald/ingest/tried"
	"weald/rules"
)

// A slowLimit is a limit with all that section 4 of the semantics gives it, written down
// from there: whole mmHg and milliseconds, which are gone through one by one.
type slowLimit struct {
	lo, hi, deadband        int
	on, off, resets, forget int
	stale                   int // of what is judged
	gateStale               int // of what the gate asks for, which is open below 20 mmHg
}

// run tells what happens up to the end, with readings by their instants.
func (l *slowLimit) run(judged, gate map[int]float64, end int) (lines []string) {
	tell := func(at int, what string) { lines = append(lines, fmt.Sprintf("%v %s", ms(at), what)) }
	value, valueAt, door, doorAt := math.NaN(), math.MinInt32, math.NaN(), math.MinInt32
	high, low, raised, lost := false, false, false, false
	held, released, off, silent := 0, 0, 0, 0
	for now := 0; ; now++ {
		if v, ok := judged[now]; ok {
			if value, valueAt = v, now; v == v { // the memory survives what is unknown
				high, low = v > float64(l.hi) || high && v > float64(l.hi-l.deadband), v < float64(l.lo) || low && v < float64(l.lo+l.deadband)
			}
		}
		if v, ok := gate[now]; ok {
			door, doorAt = v, now
		}
		known := value == value && now < valueAt+l.stale
		open := door < 20 && now < doorAt+l.gateStale
		beyond := high || low
		change := func(at int) {
			switch {
			case open && known && beyond && !raised && held >= l.on:
				raised, lost, off = true, false, 0
				tell(at, "raised")
			case open && known && !beyond && raised && off >= l.off:
				raised, held, released, silent = false, 0, 0, 0
				tell(at, "cleared")
			}
		}
		change(now)
		if raised && known == lost { // whatever the gate
			lost = !known
			tell(now, map[bool]string{true: "unknown", false: "known"}[lost])
		}
		if now == end {
			return lines
		}
		switch {
		case !open: // counts for nothing
		case raised && known && beyond:
			off = 0
		case raised && known:
			off++
		case raised:
		case !known:
			if silent++; silent >= l.forget {
				held, released = 0, 0
			}
		case beyond:
			held, released, silent = held+1, 0, 0
		default:
			silent = 0
			if held > 0 {
				released++
			}
			if released >= l.resets {
				held, released = 0, 0
			}
		}
		change(now + 1)
	}
}

// Whatever bounds, delays, holes and gates there are: a limit raises, clears, loses and
// finds its signal when somebody who goes through the milliseconds with the table of the
// semantics says so, and however often the engine is asked meanwhile.
func TestLimitAgainstASlowReference(t *testing.T) {
	counts := map[string]int{}
	tried.Check(t, tried.Each(counts, 10, "raised", "cleared", "unknown", "known"), func(t *rapid.T) {
		draw := func(name string, most int) int { return rapid.IntRange(0, most).Draw(t, name) }
		l := slowLimit{
			lo: -1000, hi: 1000, deadband: draw("deadband", 3), on: draw("on", 100), off: draw("off", 60),
			resets: draw("resets", 60), forget: 1 + draw("forget", 150), stale: 2 * (1 + draw("stale", 40)), gateStale: 2 * (1 + draw("gate stale", 200)),
		}
		limit := &rules.Limit{Watch: "ankle.pressure", Deadband: float64(l.deadband)}
		switch draw("kind", 2) {
		case 0:
			l.hi, limit.Above = 32, ptr(32)
		case 1:
			l.lo, limit.Below = 32, ptr(32)
		default:
			l.lo, l.hi, limit.Outside = 30, 34, &[2]float64{30, 34}
		}
		r := rules.Rule{Limit: limit, While: "calf.pressure < 20", OnDelay: ms(l.on), OffDelay: ms(l.off), ResetsAfter: ms(l.resets), ForgetAfter: ms(l.forget)}
		plan := leg(r)
		plan.Sources = append(plan.Sources, plan.Sources[0])
		plan.Sources[0].StaleAfter, plan.Sources[1].StaleAfter, plan.Sources[1].ID = ms(l.stale), ms(l.gateStale), "b/leg"
		plan.Places[0].Sites[0].Channels[0].Source = 1 // the calf
		s := begun(plan)
		// What is judged is heard at even milliseconds, what the gate asks for at odd ones.
		judged, gate, end := map[int]float64{}, map[int]float64{}, 0
		for range rapid.IntRange(20, 60).Draw(t, "n") {
			end += 1 + draw("step", 30)
			of, source, v := judged, 0, float64(draw("v", 8)+28)
			if draw("which", 4) == 0 {
				of, source, v = gate, 1, []float64{10, 10, 30, math.NaN()}[draw("door", 3)]
			} else if draw("missing", 9) == 0 {
				v = math.NaN()
			}
			if end%2 != source {
				end++
			}
			of[end] = v
			if rapid.Bool().Draw(t, "asked") {
				for next := s.Next(); next <= at(ms(end)); next = s.Next() {
					s.Tick(next)
				}
			}
			s.scan(source, ms(end), v, v)
		}
		s.Finish()
		want := l.run(judged, gate, end)
		var got []string
		for _, line := range s.lines {
			f := strings.Fields(line)
			got = append(got, f[0]+" "+f[1])
			counts[f[1]]++
		}
		if !slices.Equal(got, want) || s.late > 0 {
			t.Fatalf("%+v\nreadings %v\ngate %v\ngot  %q\nwant %q, %d late", l, judged, gate, got, want, s.late)
		}
	})
}
