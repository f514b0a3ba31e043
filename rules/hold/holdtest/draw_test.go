package holdtest

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// Whoever goes from breakpoint to breakpoint meets each reading up to the end once, the
// gate where it closes and opens, and the end last; between two of them neither what is
// known nor the gate changes, looked at millisecond by millisecond.
func TestNothingHappensBetweenBreakpoints(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, readings := DrawSettings(t), DrawReadings(t)
		points := Breakpoints(readings, s)
		if last := points[len(points)-1]; last.What != "end" || last.At != s.End {
			t.Fatalf("the last is %+v", last)
		}
		if !slices.IsSortedFunc(points, func(a, b Breakpoint) int { return a.At - b.At }) {
			t.Fatalf("not in order: %+v", points)
		}
		known, open, next := false, s.GateFrom > 0 || s.GateTo <= s.GateFrom, 0
		seen := 0
		for now := 0; now <= s.End; now++ {
			for ; next < len(points) && points[next].At == now; next++ {
				switch p := points[next]; p.What {
				case "reading":
					known = !math.IsNaN(p.Value)
					seen++
				case "stale":
					known = false
				case "close", "open":
					open = p.What == "open"
				}
			}
			fresh := false // by the newest reading alone
			for _, r := range readings {
				if r.At <= now {
					fresh = !math.IsNaN(r.Value) && now < r.At+s.Stale
				}
			}
			if closed := now >= s.GateFrom && now < s.GateTo; known != fresh || open == closed {
				t.Fatalf("at %d it is known: %v, open: %v; by the readings %v, %v\n%+v\n%+v", now, known, open, fresh, !closed, s, points)
			}
		}
		within := slices.IndexFunc(readings, func(r Reading) bool { return r.At > s.End })
		if within < 0 {
			within = len(readings)
		}
		if next != len(points) || seen != within {
			t.Fatalf("%d of %d breakpoints and %d of %d readings were met", next, len(points), seen, within)
		}
	})
}
