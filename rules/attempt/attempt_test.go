package attempt_test

import (
	"math"
	"slices"
	"testing"

	"weald/ingest/near"
	"weald/rules/attempt"
	"weald/rules/compression"
	"weald/rules/limb"
)

func bench() attempt.Plan {
	return attempt.Plan{
		Sites:    []attempt.Site{{ID: "ankle", HeightCM: 12, GirthCM: 22, Aim: attempt.Band{Low: 35, High: 45}}, {ID: "calf", HeightCM: 31, GirthCM: 35, Aim: attempt.Band{Low: 20, High: 30}}},
		Wrapping: compression.Wrapping{Newtons: 0.5 * compression.Gravity, Layers: 2, WidthCM: 10},
	}
}

// read is a reading with a standard uncertainty of 2 mmHg, of which 1.2 is the gauge's.
func read(step attempt.Step, mmHg ...float64) attempt.Reading {
	r := attempt.Reading{Step: step}
	for _, v := range mmHg {
		r.Values = append(r.Values, attempt.Value{MMHg: v, U: 2, Shared: 1.2})
	}
	return r
}

func TestAWholeTry(t *testing.T) {
	p := bench()
	got := attempt.Judge(&p, []attempt.Reading{
		read(attempt.Bare, 0.5, -0.3), read(attempt.Applied, 44, 30), read(attempt.Lying, 40, 28),
		read(attempt.Standing, 58, 37), read(attempt.Walking, 16, 9),
	})
	ankle, calf := got.Sites[0], got.Sites[1]
	if ankle.Verdict != attempt.Inside || !ankle.Sure || calf.Verdict != attempt.Inside || calf.Sure {
		t.Errorf("verdicts %+v, %+v: 28 ± 2 is at the edge of 30", ankle, calf)
	}
	// Ankle 40, calf 28: residual 70 %. Lying 40, standing 58: index 18 (Partsch,
	// Dermatol Surg 2005;31:625-630).
	near.To(t, "residual", calf.Residual, 0.70, 1e-12)
	near.To(t, "stiffness", ankle.Stiffness.MMHg, 18, 0)
	near.To(t, "its uncertainty", ankle.Stiffness.U, math.Sqrt2*1.6, 1e-12)
	near.To(t, "swing", ankle.Swing.MMHg, 16, 0)
	// 0.5 kgf, 2 layers, 10 cm wide: 21.0 mmHg at 22 cm, 13.2 at 35 cm (Thomas, World
	// Wide Wounds, June 2003; worked by hand with its rounded constant).
	near.To(t, "predicted at the ankle", ankle.Laplace, 21.0, 0.01)
	near.To(t, "predicted at the calf", calf.Laplace, 13.2, 0.01)
	near.To(t, "pull at the ankle", ankle.Pull, p.Wrapping.Newtons*40/21, 0.005)
	near.To(t, "evenness", got.Evenness, 40*22/(28*35.0), 1e-12)
	near.To(t, "pulled at the ankle", ankle.Pulled, got.Evenness, 0)
	near.To(t, "pulled at the calf", calf.Pulled, 1, 0)
	if ankle.Pressed || calf.Pressed || calf.Fault != limb.Fine || !calf.Graded || got.Class != "" {
		t.Errorf("%+v", got)
	}
}

// What was not done is not known, and stands in the way of nothing else.
func TestStepsLeftOut(t *testing.T) {
	p := bench()
	got := attempt.Judge(&p, nil).Sites[0]
	if got.Verdict != attempt.Unknown || !math.IsNaN(got.Stiffness.MMHg) || !math.IsNaN(got.Swing.MMHg) || !math.IsNaN(got.Pull) || got.Pressed {
		t.Errorf("before anything: %+v", got)
	}
	near.To(t, "predicted all the same", got.Laplace, 21, 0.01)
	nan := math.NaN()
	part := attempt.Judge(&p, []attempt.Reading{read(attempt.Bare, 12, nan), read(attempt.Lying, 40, nan), read(attempt.Standing, 49, 30)})
	if !part.Sites[0].Pressed || part.Sites[1].Verdict != attempt.Unknown || part.Sites[1].Graded || !math.IsNaN(part.Evenness) || !math.IsNaN(part.Sites[1].Stiffness.MMHg) {
		t.Errorf("with a silent calf: %+v", part)
	}
	near.To(t, "stiffness", part.Sites[0].Stiffness.MMHg, 9, 0)
}

func TestVerdicts(t *testing.T) {
	p := bench()
	for mmHg, want := range map[float64]attempt.Verdict{30: attempt.Under, 34.9: attempt.Under, 35: attempt.Inside, 45: attempt.Inside, 46: attempt.Over} {
		got := attempt.Judge(&p, []attempt.Reading{read(attempt.Lying, mmHg, 25)}).Sites[0]
		if got.Verdict != want || got.Sure != (mmHg == 30) {
			t.Errorf("%v ± 2 mmHg in 35 to 45: %v, sure %v", mmHg, got.Verdict, got.Sure)
		}
	}
	p.Sites[0].Aim = attempt.Open
	if got := attempt.Judge(&p, []attempt.Reading{read(attempt.Lying, 30, 25)}).Sites[0]; got.Verdict != attempt.Free {
		t.Errorf("nothing was aimed for: %+v", got)
	}
}

// RAL-GZ 387/1 class II: 23 to 32 mmHg at the ankle, 50 to 80 % of that at the calf
// (2008 edition, from memory).
func TestAClass(t *testing.T) {
	p := bench()
	p.Sites = append(p.Sites, attempt.Site{ID: "thigh", HeightCM: 60, Aim: attempt.Band{Low: 1, High: 2}})
	s := compression.Named("ral")
	p.Aim(s, s.Class("II"))
	if p.Sites[0].Aim != (attempt.Band{Low: 23, High: 32}) || p.Sites[2].Aim != attempt.Open {
		t.Errorf("bands %+v", p.Sites)
	}
	near.To(t, "least at the calf", p.Sites[1].Aim.Low, 11.5, 1e-12)
	near.To(t, "most at the calf", p.Sites[1].Aim.High, 25.6, 1e-12)
	for _, c := range []struct {
		ankle, calf float64
		class       string
		fault       limb.Fault
	}{
		{30, 21, "II", limb.Fine},
		{30, 24, "II", limb.Fine}, // 80 %
		{30, 25, "II", limb.Lost},
		{30, 14, "II", limb.TooSteep},
		{30, 31, "II", limb.Reversed},
		{33, 20, "", limb.Fine}, // between the classes
		{48.9, 30, "", limb.Fine},
		{49, 30, "IV", limb.Fine},
	} {
		got := attempt.Judge(&p, []attempt.Reading{read(attempt.Lying, c.ankle, c.calf, c.calf-1)})
		if got.Class != c.class || got.Sites[1].Fault != c.fault || got.Sites[2].Fault != limb.Fine {
			t.Errorf("%v and %v mmHg: class %q %+v, want %q %q", c.ankle, c.calf, got.Class, got.Sites[1:], c.class, c.fault)
		}
	}
}

// A step that is done again takes what came after it with it.
func TestAgain(t *testing.T) {
	all := []attempt.Reading{}
	for _, s := range attempt.Steps() {
		all = attempt.Take(all, read(s, 40, 28))
	}
	if len(all) != 5 {
		t.Fatalf("%d readings", len(all))
	}
	again := attempt.Take(all, read(attempt.Lying, 38, 27))
	if len(again) != 3 || again[2].Values[0].MMHg != 38 || len(all) != 5 || all[2].Values[0].MMHg != 40 {
		t.Errorf("lying again: %+v", again)
	}
	if skipped := attempt.Take(again[:1], read(attempt.Walking, 16, 9)); len(skipped) != 2 {
		t.Errorf("what is left out: %+v", skipped)
	}
	for _, s := range attempt.Steps() {
		if !slices.Contains([]string{"pressure", "resting", "swing"}, s.Quantity()) {
			t.Errorf("%s reads %q", s, s.Quantity())
		}
	}
}
