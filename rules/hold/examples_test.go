package hold_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/rules/hold"
	"weald/rules/hold/holdtest"
)

// run is readings of one value, one a unit of time, from its begin to its end.
type run struct {
	from, to int
	value    float64
}

func readings(runs ...run) (out []holdtest.Reading) {
	for _, r := range runs {
		for at := r.from; at <= r.to; at++ {
			out = append(out, holdtest.Reading{At: at, Value: r.value})
		}
	}
	return out
}

// The worked examples on which the meaning of a hold was agreed, above 32 and stale after
// 3, with a millisecond for each of their seconds: both the hold and the slow reference
// that everything else is held to keep to them.
func TestWorkedExamples(t *testing.T) {
	dip := []run{{0, 19, 40}, {20, 21, 10}, {22, 60, 40}}
	hole := []run{{0, 10, 40}, {100, 140, 40}}
	for name, c := range map[string]struct {
		runs                     []run
		deadband                 float64
		off, resets, forget, end int
		want                     string
	}{
		"a minute of load":            {[]run{{0, 60, 40}}, 0, 0, 0, 600, 60, "[{raised 30}]"},
		"a dip":                       {dip, 0, 0, 0, 600, 60, "[{raised 52}]"},
		"a dip that pauses":           {dip, 0, 0, 5, 600, 60, "[{raised 32}]"},
		"a hole":                      {hole, 0, 0, 0, 600, 140, "[{raised 117}]"},
		"a hole in which it forgets":  {hole, 0, 0, 0, 60, 140, "[{raised 130}]"},
		"a fall through the deadband": {[]run{{0, 40, 40}, {41, 50, 31}, {51, 70, 29}}, 2, 10, 0, 600, 70, "[{raised 30} {cleared 61}]"},
		"a long silence":              {[]run{{0, 40, 40}, {500, 510, 40}}, 0, 0, 0, 600, 510, "[{raised 30}]"},
	} {
		s := holdtest.Settings{
			Kind: "above", Limit: 32, Deadband: c.deadband, On: 30, Off: c.off, Resets: c.resets, Forget: c.forget,
			Stale: 3, GateFrom: 9999, GateTo: 9999, End: c.end,
		}
		r := readings(c.runs...)
		if got := fmt.Sprint(holdtest.Reference(r, s)); got != c.want {
			t.Errorf("%s: the reference says %s, want %s", name, got, c.want)
		}
		if got := fmt.Sprint(viaState(r, s)); got != c.want {
			t.Errorf("%s: %s, want %s", name, got, c.want)
		}
	}
}

// On-delay, off-delay and deadband as OPC 10000-9, B.1.5 tells of them, with the deadband
// of EEMUA 191 for a pressure, 2 % of 100 mmHg, and its delays of 15 s (from memory): a
// brief jump raises nothing, noise about the limit neither clears nor raises anew, a brief
// return keeps the alarm, one that lasts ends it. Time is in tenths of a second.
func TestDelaysAsTheStandardTellsOfThem(t *testing.T) {
	s := holdtest.Settings{Kind: "above", Limit: 40, Deadband: 2, On: 150, Off: 150, Stale: 2, Forget: 9999, GateFrom: 9999, GateTo: 9999, End: 1400}
	r := readings(run{0, 99, 35}, run{100, 200, 55}, run{201, 299, 35}, // a jump of 10.1 s
		run{300, 499, 42}) // above for 20 s: raised at 45 s
	for at := 500; at < 800; at++ { // about the limit, and never below 38
		r = append(r, holdtest.Reading{At: at, Value: 39.5 + math.Sin(float64(at))})
	}
	r = append(r, readings(run{800, 900, 35}, run{901, 1000, 42}, // a return of 10.1 s
		run{1001, 1400, 35})...) // and one that lasts
	want := "[{raised 450} {cleared 1151}]"
	if got := fmt.Sprint(viaState(r, s)); got != want {
		t.Errorf("%s, want %s", got, want)
	}
	s.Deadband = 0 // then noise counts as a return, but one that never lasts
	if got := fmt.Sprint(viaState(r, s)); got != want {
		t.Errorf("without a deadband %s, want %s", got, want)
	}
	s.Off = 0 // with neither it chatters
	if got := viaState(r, s); len(got) < 2 || got[1].At >= 800 {
		t.Errorf("with neither deadband nor off-delay: %v", got)
	}
}

// Conformance probabilities of JCGM 106:2012, 7.3 and 7.4 (the examples from memory):
// a breakdown voltage of -5.47 V ± 0.05 against at most -5.40 V, 0.92; a burst strength of
// 509.7 kPa ± 8.6 against at least 490 kPa, 0.99; an oil of 13.6 mm²/s ± 1.8 that has to
// be within 12.5 and 16.3, 0.66. What does not conform is beyond the limit, so that a
// certainty above the rest is No, and below it Yes.
func TestConformanceExamplesOfJCGM106(t *testing.T) {
	for name, c := range map[string]struct {
		band     hold.Band
		v, u     float64
		conforms float64
	}{
		"voltage":  {hold.Above(-5.40, 0), -5.47, 0.05, 0.92},
		"strength": {hold.Below(490, 0), 509.7, 8.6, 0.99},
		"oil":      {hold.Outside(12.5, 16.3, 0), 13.6, 1.8, 0.66},
	} {
		for p, want := range map[float64]sample.Truth{1 - c.conforms - 0.006: sample.Yes, 1 - c.conforms + 0.006: sample.No} {
			band := c.band.At(p)
			if got, _ := band.Judge(c.v, c.u, 0); got != want {
				t.Errorf("%s, beyond with a certainty of %v: %v, want %v", name, p, got, want)
			}
		}
	}
}

// Who asks to be surer never hears of more; with nothing to doubt, a certainty compares the
// value; with no end of doubt, two bounds hold half of it outside of either.
func TestSurerIsNeverMore(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		band := rapid.SampledFrom([]hold.Band{hold.Above(40, 2), hold.Below(20, 2), hold.Outside(20, 40, 2)}).Draw(t, "band")
		m := hold.Memory(rapid.IntRange(0, 2).Draw(t, "memory"))
		v := float64(rapid.IntRange(0, 240).Draw(t, "quarters"))/4 + 0.1 // on no bound
		u := rapid.SampledFrom([]float64{0, 0.5, 3, 50, math.Inf(1)}).Draw(t, "u")
		last := sample.Yes
		for _, p := range []float64{0.001, 0.05, 0.3, 0.49, 0.51, 0.7, 0.95, 0.999} {
			c := band.At(p)
			got, next := c.Judge(v, u, m)
			if got > last {
				t.Fatalf("%v ± %v: %v with %v, and %v with less", v, u, got, p, last)
			}
			last = got
			if (next != 0) != (got == sample.Yes) {
				t.Fatalf("%v ± %v: %v, yet %d is remembered", v, u, got, next)
			}
		}
		c := band.At(0.9)
		if got, _ := c.Judge(v, 0, m); u == 0 {
			if want, _ := band.Judge(v, m); got != want {
				t.Fatalf("%v without doubt: %v, want %v", v, got, want)
			}
		}
	})
	if risk := distuv.UnitNormal.CDF(-1.645); math.Abs(risk-0.05) > 1e-4 {
		t.Fatalf("the normal table is off: %v", risk)
	}
}

// Time has no unit: settings and readings that are stretched stretch what happens.
func TestTimeHasNoUnit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, k := holdtest.DrawSettings(t), rapid.SampledFrom([]int{2, 1000, 86_400_000}).Draw(t, "times")
		r := holdtest.DrawReadings(t)
		want := viaState(r, s)
		for i := range r {
			r[i].At *= k
		}
		for _, d := range []*int{&s.On, &s.Off, &s.Resets, &s.Forget, &s.Stale, &s.GateFrom, &s.GateTo, &s.End} {
			*d *= k
		}
		got := viaState(r, s)
		for i := range want {
			want[i].At *= k
		}
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Fatalf("%d times as long: %v, want %v", k, got, want)
		}
	})
}

// What is above a limit in one sign is below it in the other, with either side's memory.
func TestBelowIsAboveUpsideDown(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		limit, deadband := rapid.Float64Range(-50, 50).Draw(t, "limit"), rapid.Float64Range(0, 5).Draw(t, "deadband")
		above, below := hold.Above(limit, deadband), hold.Below(-limit, deadband)
		var up, down hold.Memory
		for range 8 {
			v := rapid.OneOf(rapid.Float64Range(limit-8, limit+8), rapid.Just(math.NaN()), rapid.Just(math.Inf(1)), rapid.Just(math.Inf(-1))).Draw(t, "v")
			var one, other sample.Truth
			one, up = above.Judge(v, up)
			other, down = below.Judge(-v, down)
			if one != other || (up != 0) != (down != 0) || above.Limit(v) != -below.Limit(-v) {
				t.Fatalf("%v above %v is %v, %v below %v is %v", v, limit, one, -v, -limit, other)
			}
		}
	})
}

// The bound that an alert names is the one passed, or else the nearer one.
func TestTheLimitThatIsNamed(t *testing.T) {
	b := hold.Outside(20, 40, 2)
	for v, want := range map[float64]float64{10: 20, 29.9: 20, 30: 40, 50: 40, math.Inf(-1): 20, math.Inf(1): 40} {
		if got := b.Limit(v); got != want {
			t.Errorf("%v is compared with %v, want %v", v, got, want)
		}
	}
	for want, b := range map[float64]hold.Band{20: hold.Below(20, 2), 40: hold.Above(40, 2), 60: hold.Outside(20, 60, 0)} {
		if got := b.Limit(math.NaN()); got != want {
			t.Errorf("what nobody knows is compared with %v, want %v", got, want)
		}
	}
}

// Delays that are never reached are waited for without an overflow.
func TestDelaysThatAreNeverReached(t *testing.T) {
	spec := hold.Spec{OnDelay: math.MaxInt64, OffDelay: math.MaxInt64, ResetsAfter: math.MaxInt64, ForgetAfter: math.MaxInt64}
	for _, raised := range []bool{false, true} {
		h := hold.State{Held: 1, Raised: raised}
		for k, c := range []sample.Truth{sample.No, sample.No, sample.No, sample.Maybe, sample.Maybe, sample.Maybe, sample.Yes, sample.No} {
			h.Advance(&spec, math.MaxInt64/2-time.Duration(k), c)
			if err := h.Check(); err != nil {
				t.Fatal(err)
			}
			if in, ok := h.Next(&spec, c); ok && in <= 0 {
				t.Fatalf("%+v wants attention in %v", h, in)
			}
		}
	}
}

// Where a value may be beyond either bound, be it by each of them alone or only by both
// together, the nearer one is the side that is remembered: its deadband holds, not the
// other's.
func TestWideDoubtRemembersTheNearerSide(t *testing.T) {
	for _, c := range []struct{ p, u float64 }{{0.3, 50}, {0.6, 20}} {
		band := hold.Outside(20, 40, 4).At(c.p)
		for v, low := range map[float64]bool{29: true, 31: false, 22: true, 38: false} {
			is, m := band.Judge(v, c.u, 0)
			if is != sample.Yes {
				t.Fatalf("%v ± %v is beyond with a certainty of %v: %v", v, c.u, c.p, is)
			}
			below, _ := band.Judge(22, 0, m)
			above, _ := band.Judge(38, 0, m)
			if below != sample.Of(low) || above != sample.Of(!low) {
				t.Errorf("after %v ± %v: 22 is %v and 38 is %v", v, c.u, below, above)
			}
		}
	}
}
