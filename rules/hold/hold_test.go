package hold_test

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/ingest/tried"
	"weald/rules/hold"
	"weald/rules/hold/holdtest"
)

// viaState runs the same through a Band and a State, from breakpoint to
// breakpoint.
func viaState(readings []holdtest.Reading, s holdtest.Settings) (out []holdtest.Happening) {
	band := hold.Above(s.Limit, s.Deadband)
	if s.Kind == "below" {
		band = hold.Below(s.Limit, s.Deadband)
	}
	spec := s.Spec()
	var h hold.State
	var mem hold.Memory
	cond, open := sample.Maybe, s.GateFrom > 0 || s.GateTo <= 0
	now := 0
	step := func(to int) {
		if open {
			change, at := h.Advance(&spec, ms(to-now), cond)
			if change != hold.None {
				out = append(out, holdtest.Happening{What: []string{"", "raised", "cleared"}[change], At: now + int(at/time.Millisecond)})
			}
		}
		now = to
	}
	for _, b := range holdtest.Breakpoints(readings, s) {
		step(b.At)
		switch b.What {
		case "reading":
			cond, mem = band.Judge(b.Value, mem)
		case "stale":
			cond = sample.Maybe
		case "close":
			open = false
		case "open":
			open = true
		}
		step(b.At)
	}
	return out
}

func ms(n int) time.Duration { return time.Duration(n) * time.Millisecond }

func TestStateAgreesWithReference(t *testing.T) {
	raised, cleared := 0, 0
	tried.Check(t, tried.All(tried.Count(&raised, 20), tried.Count(&cleared, 10)), func(t *rapid.T) {
		s, readings := holdtest.DrawSettings(t), holdtest.DrawReadings(t)
		readings = slices.DeleteFunc(readings, func(r holdtest.Reading) bool { return r.At > s.End })
		want, got := holdtest.Reference(readings, s), viaState(readings, s)
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Fatalf("settings %+v\nreadings %v\ngot  %v\nwant %v", s, readings, got, want)
		}
		for _, h := range want {
			if h.What == "raised" {
				raised++
			} else {
				cleared++
			}
		}
	})
}

// Unknown never raises nor clears, equal input gives equal output, the
// invariants hold, and whoever sleeps until Next makes progress.
func TestSentencesThatAlwaysHold(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		spec := holdtest.DrawSettings(t).Spec()
		var h hold.State
		for range rapid.IntRange(1, 40).Draw(t, "n") {
			c := rapid.SampledFrom([]sample.Truth{sample.Yes, sample.No, sample.Maybe}).Draw(t, "cond")
			span := ms(rapid.IntRange(0, 90).Draw(t, "span"))
			before, twin := h, h
			change, at := h.Advance(&spec, span, c)
			if c2, at2 := twin.Advance(&spec, span, c); twin != h || c2 != change || at2 != at {
				t.Fatalf("the same step gave %v and %v", h, twin)
			}
			if c == sample.Maybe && (change != hold.None || h.Raised != before.Raised || h.Held > before.Held) {
				t.Fatalf("silence turned %+v into %+v", before, h)
			}
			if c == sample.No && change == hold.Raised || c == sample.Yes && change == hold.Cleared {
				t.Fatalf("%v under %v", change, c)
			}
			if err := h.Check(); err != nil {
				t.Fatal(err)
			}
			if at < 0 || at > span {
				t.Fatalf("a change at %v within a span of %v", at, span)
			}
			if in, ok := h.Next(&spec, c); ok && in <= 0 {
				t.Fatalf("%+v wants attention in %v: a loop would spin", h, in)
			}
		}
	})
}

// A span may be cut anywhere without changing what happens.
func TestCutsDoNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		spec := holdtest.DrawSettings(t).Spec()
		var whole, cut hold.State
		for range rapid.IntRange(1, 20).Draw(t, "n") {
			c := rapid.SampledFrom([]sample.Truth{sample.Yes, sample.No, sample.Maybe}).Draw(t, "cond")
			span := rapid.IntRange(1, 90).Draw(t, "span")
			first := rapid.IntRange(0, span).Draw(t, "cut")
			ch, at := whole.Advance(&spec, ms(span), c)
			c1, a1 := cut.Advance(&spec, ms(first), c)
			c2, a2 := cut.Advance(&spec, ms(span-first), c)
			if c1 == hold.None {
				c1, a1 = c2, a2+ms(first)
			}
			if c1 != ch || ch != hold.None && a1 != at || cut != whole {
				t.Fatalf("whole %v at %v: %+v; cut %v at %v: %+v", ch, at, whole, c1, a1, cut)
			}
		}
	})
}

func TestSilenceMayLastForEver(t *testing.T) {
	spec := hold.Spec{OnDelay: time.Minute, ForgetAfter: math.MaxInt64}
	h := hold.State{Held: time.Second}
	for range 3 {
		h.Advance(&spec, math.MaxInt64-1, sample.Maybe)
		if err := h.Check(); err != nil {
			t.Fatal(err)
		}
	}
}

func TestBandKeepsDecimals(t *testing.T) {
	// 0.3 - 0.1 in binary is 0.19999999999999998: a reading of 0.2 must not
	// count as above it.
	for _, c := range []struct{ limit, deadband, v float64 }{{0.3, 0.1, 0.2}, {32.1, 0.2, 31.9}, {1.1, 0.7, 0.4}, {101.3, 100.2, 1.1}} {
		b := hold.Above(c.limit, c.deadband)
		_, m := b.Judge(c.limit+1, 0)
		if got, _ := b.Judge(c.v, m); got != sample.No {
			t.Errorf("%v with a deadband of %v: %v is %v beyond, want no", c.limit, c.deadband, c.v, got)
		}
		b = hold.Below(-c.limit, c.deadband)
		_, m = b.Judge(-c.limit-1, 0)
		if got, _ := b.Judge(-c.v, m); got != sample.No {
			t.Errorf("below %v with a deadband of %v: %v is %v beyond, want no", -c.limit, c.deadband, -c.v, got)
		}
	}
}

// A value that equals the limit is not beyond it, though it was added up, or
// calibrated, in binary.
func TestBandForgivesTheRoundingOfBinary(t *testing.T) {
	for _, c := range []struct{ v, limit float64 }{
		{(9.3 + 9.4 + 11.3) / 3, 10}, {-2 + 0.05*1246, 60.3}, {0.1 + 0.2, 0.3}, {-2 + 0.05*65534, 3274.7},
	} {
		above, below := hold.Above(c.limit, 0), hold.Below(c.limit, 0)
		if got, _ := above.Judge(c.v, 0); got != sample.No {
			t.Errorf("%v is above %v", c.v, c.limit)
		}
		if got, _ := below.Judge(c.v, 0); got != sample.No {
			t.Errorf("%v is below %v", c.v, c.limit)
		}
		if got, _ := above.Judge(c.v+1e-6, 0); got != sample.Yes {
			t.Errorf("%v is not above %v", c.v+1e-6, c.limit)
		}
	}
}

func TestOutsideRemembersItsSidesApart(t *testing.T) {
	b := hold.Outside(15, 25, 4)
	steps := []struct {
		v    float64
		want sample.Truth
	}{
		{20, sample.No}, {26, sample.Yes}, {22, sample.Yes}, {21, sample.No},
		{18, sample.No}, // not held by the low side's deadband
		{14, sample.Yes}, {18, sample.Yes}, {19, sample.No},
		{26, sample.Yes}, {math.NaN(), sample.Maybe}, {22, sample.Yes}, // memory survives unknown
		{14, sample.Yes}, {22, sample.No}, // from above to below in one step
	}
	var m hold.Memory
	for i, s := range steps {
		var got sample.Truth
		if got, m = b.Judge(s.v, m); got != s.want {
			t.Errorf("step %d: %v is %v, want %v", i, s.v, got, s.want)
		}
	}
}
