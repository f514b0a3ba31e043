package limb_test

import (
	"math"
	"testing"
	"time"

	"weald/ingest/near"
	"weald/ingest/sample"
	"weald/rules/limb"
	"weald/rules/state"
)

// Residual pressure ratios reckoned by hand.
func TestResidual(t *testing.T) {
	near.To(t, "calf 28 of ankle 40", limb.Residual(28, 40), 70, 1e-9)
	near.To(t, "calf 41 of ankle 40", limb.Residual(41, 40), 102.5, 1e-9)
	if !math.IsNaN(limb.Residual(10, 0)) {
		t.Error("nothing at the ankle has a residual")
	}
}

func TestGrades(t *testing.T) {
	nan := math.NaN()
	g := limb.Grade{Ratio: 0.8, Drop: 4, Steepest: 0.5}
	for _, c := range []struct {
		distal, proximal float64
		fault            limb.Fault
		is               sample.Truth
	}{
		{40, 28, limb.Fine, sample.No},
		{40, 32, limb.Fine, sample.No}, // 80 %, included
		{40, 32.1, limb.Lost, sample.Yes},
		{40, 41, limb.Reversed, sample.Yes},
		{18, 14.3, limb.Lost, sample.Yes}, // 79 %, but 3.7 mmHg lower only
		{40, 20, limb.Fine, sample.No},
		{40, 19.9, limb.TooSteep, sample.Yes},
		{0, 10, limb.Fine, sample.No}, // no ratio, no alert
		{nan, 10, limb.Fine, sample.Maybe},
		{40, nan, limb.Fine, sample.Maybe},
	} {
		if fault, is := g.Judge(c.distal, c.proximal); fault != c.fault || is != c.is {
			t.Errorf("%v then %v: %q %v, want %q %v", c.distal, c.proximal, fault, is, c.fault, c.is)
		}
	}
	if _, is := (limb.Grade{}).Judge(40, 80); is != sample.No {
		t.Error("a grade that asks nothing finds a fault")
	}
}

// Samples 40 55 41 57 39 56: median of the highest less median of the lowest.
func TestAmplitude(t *testing.T) {
	near.To(t, "amplitude", limb.Amplitude([]float64{55, 57, 56}, []float64{40, 41, 39}), 16, 0)
}

// A story is a limb with readings of its ankle and calf at a rate.
type story struct {
	*limb.Limb
	rate float64
	t    float64
}

// lies begins a story at ten readings a second, in which the limb rests and is then said to lie.
func lies(ankle, calf float64) *story {
	s := &story{Limb: limb.New(2), rate: 10}
	s.goOn(20, at(ankle, calf))
	s.says(false)
	s.goOn(5, at(ankle, calf))
	return s
}

func (s *story) goOn(seconds float64, f func(t float64) (ankle, calf float64)) {
	for end := s.t + seconds; s.t < end-1e-9; s.t += 1 / s.rate {
		a, c := f(s.t)
		// A little noise that is no random number.
		wobble := 0.2 * math.Sin(1e4*s.t*s.t)
		s.Add(sample.Instant(math.Round(s.t*1e9)), []float64{a + wobble, c - wobble}, time.Second)
	}
}

func at(ankle, calf float64) func(float64) (float64, float64) {
	return func(float64) (float64, float64) { return ankle, calf }
}

func walk(ankle, calf, swing, hertz float64) func(float64) (float64, float64) {
	return func(t float64) (float64, float64) {
		up := (1 - math.Cos(2*math.Pi*hertz*t)) / 2 * swing
		return ankle + up, calf + up/2
	}
}

func (s *story) expect(t *testing.T, when string, want limb.Activity) {
	t.Helper()
	if got := s.Activity(); got != want {
		t.Errorf("%s: %+v, want %+v", when, got, want)
	}
}

// An hour at a bench: lying, standing up, walking, lying down.
func TestAStoryAtTheBench(t *testing.T) {
	const yes, no, maybe = sample.Yes, sample.No, sample.Maybe
	for _, rate := range []float64{10, 25} {
		s := &story{Limb: limb.New(2), rate: rate}
		s.goOn(1, at(40, 28))
		s.expect(t, "after a second", limb.Activity{})
		s.goOn(29, at(40, 28))
		s.expect(t, "lying", limb.Activity{Still: yes, Walking: no, Bending: no, Standing: maybe})
		near.To(t, "resting ankle", s.Site(0).Resting, 40, 0.3)
		near.To(t, "resting calf", s.Site(1).Resting, 28, 0.3)
		s.goOn(2, walk(40, 28, 18, 0.25)) // getting up: one slow swing to the top
		s.expect(t, "getting up", limb.Activity{Still: no, Walking: no, Bending: yes, Standing: maybe})
		if r := s.Site(0).Resting; !math.IsNaN(r) {
			t.Errorf("a limb that moves rests at %v", r)
		}
		s.goOn(20, at(58, 36))
		s.expect(t, "standing", limb.Activity{Still: yes, Walking: no, Bending: no, Standing: yes})
		near.To(t, "stiffness at the ankle", s.Site(0).Stiffness, 18, 0.5)
		near.To(t, "stiffness at the calf", s.Site(1).Stiffness, 8, 0.5)
		s.goOn(20, walk(48, 30, 16, 0.92))
		s.expect(t, "walking", limb.Activity{Still: no, Walking: yes, Bending: no, Standing: yes})
		w, ok := s.Walk()
		if !ok {
			t.Fatal("no walk")
		}
		near.To(t, "strides", w.Hertz, 0.92, 0.02)
		near.To(t, "rate", w.Rate, rate, 0.5)
		near.To(t, "swing at the ankle", s.Site(0).Swing, 16, 0.8)
		near.To(t, "swing at the calf", s.Site(1).Swing, 8, 0.8)
		s.goOn(20, at(58, 36))
		s.expect(t, "standing still", limb.Activity{Still: yes, Walking: no, Bending: no, Standing: yes})
		s.goOn(2, walk(40, 28, 18, 0.5))
		s.goOn(30, at(40, 28))
		s.expect(t, "lying again", limb.Activity{Still: yes, Walking: no, Bending: no, Standing: no})
		if v := s.Site(0).Stiffness; !math.IsNaN(v) {
			t.Errorf("stiffness of somebody who lies: %v", v)
		}
		s.Silence()
		s.expect(t, "silent", limb.Activity{Standing: no})
		s.Unwrap()
		s.expect(t, "unwrapped", limb.Activity{})
	}
}

// At 2 scans a second a walk is no walk: its amplitude is an artefact, and even
// whether it is one cannot be told.
func TestASlowRateTellsNothingOfStrides(t *testing.T) {
	for _, hertz := range []float64{0.8, 0.92, 1.15} {
		for _, rate := range []float64{2, 4, 5, 7.5} {
			s := &story{Limb: limb.New(2), rate: rate}
			s.goOn(60, walk(40, 28, 20, hertz))
			if v := s.Site(0).Swing; !math.IsNaN(v) {
				t.Errorf("%v strides at %v/s: amplitude %v", hertz, rate, v)
			}
			if a := s.Activity(); rate == 2 && (a.Walking == sample.Yes || a.Bending != sample.Maybe) {
				t.Errorf("%v strides at %v/s: %+v", hertz, rate, a)
			}
		}
	}
}

// Settling of a wrap: 23.5 % within 4 h, nearly all of it within 90 min (J Wound
// Management 2023;24(3):87-94), as an exponential with 30 min that meets both.
func TestSettling(t *testing.T) {
	s := &story{Limb: limb.New(2), rate: 1}
	fall := func(t float64) float64 { return 40 * (1 - 0.235*(1-math.Exp(-t/1800))) }
	s.goOn(3600, func(t float64) (float64, float64) { return fall(t), 28 })
	near.To(t, "after an hour", s.Site(0).Resting, 31.87, 0.3)
	want := (fall(3600) - fall(1800)) / 0.5 // mmHg/h over the last half hour
	near.To(t, "slope", s.Site(0).Settling*3600, want, 0.15*math.Abs(want))
	near.To(t, "slope of a calf that stays", s.Site(1).Settling*3600, 0, 0.3)
	s.goOn(3*3600, func(t float64) (float64, float64) { return fall(t), 28 })
	near.To(t, "after four hours", s.Site(0).Resting, 30.6, 0.3)
	near.To(t, "slope", s.Site(0).Settling*3600, 0, 0.3)
}

// State that is written and read goes on as if nothing had been.
func TestState(t *testing.T) {
	run := func(cut bool) (limb.Site, limb.Activity, limb.Walk) {
		s := &story{Limb: limb.New(2), rate: 10}
		part := func(seconds float64, f func(float64) (float64, float64)) {
			s.goOn(seconds, f)
			if cut {
				fresh := limb.New(2)
				if rest, err := state.Read(state.Append(nil, s.Limb), fresh); err != nil || len(rest) != 0 {
					t.Fatalf("%v, %d bytes left", err, len(rest))
				}
				s.Limb = fresh
			}
		}
		part(30, at(40, 28))
		part(2, walk(40, 28, 18, 0.25))
		part(20, at(58, 36))
		part(3.3, walk(48, 30, 16, 0.92))
		part(4.4, walk(48, 30, 16, 0.92))
		w, _ := s.Walk()
		return s.Site(0), s.Activity(), w
	}
	site, activity, w := run(false)
	site2, activity2, w2 := run(true)
	if activity != activity2 || w != w2 || site.Swing != site2.Swing {
		t.Errorf("without a break %+v %+v %+v, with one %+v %+v %+v", site, activity, w, site2, activity2, w2)
	}
	if _, err := state.Read(state.Append(nil, limb.New(2))[:40], limb.New(2)); err == nil {
		t.Error("half a state is taken")
	}
}

func TestNothingAllocates(t *testing.T) {
	s := &story{Limb: limb.New(2), rate: 10}
	s.goOn(30, walk(40, 28, 16, 0.92))
	values, now := make([]float64, 2), sample.Instant(30e9)
	if got := testing.AllocsPerRun(1000, func() {
		now = now.Add(100 * time.Millisecond)
		values[0], values[1] = walk(40, 28, 16, 0.92)(float64(now) / 1e9)
		s.Add(now, values, time.Second)
	}); got != 0 {
		t.Errorf("%v allocations a reading", got)
	}
}

func BenchmarkAdd(b *testing.B) {
	l := limb.New(2)
	values, now := make([]float64, 2), sample.Instant(0)
	for b.Loop() {
		now = now.Add(100 * time.Millisecond)
		values[0], values[1] = walk(40, 28, 16, 0.92)(float64(now) / 1e9)
		l.Add(now, values, time.Second)
	}
}
