package rules_test

import (
	"math"
	"testing"
	"time"

	"weald/rules"
)

// Lying 40 mmHg and standing 58 make a static stiffness of 18 (the worked example
// is that of the definition, Partsch, Dermatol Surg 2005;31:625-630, from memory).
// Each level is known to 2 mmHg, so their difference is to the root of 8.
func TestStiffnessHasItsUncertainty(t *testing.T) {
	plan := leg(rules.Rule{Limit: &rules.Limit{Watch: "ankle.stiffness", Below: ptr(10)}})
	plan.Sources[0].U = []float64{2, 2}
	s := newStory(t, plan)
	s.play(0, 30*time.Second, 10, level(40, 28))
	if v := s.signal(t, "ankle.resting"); math.Abs(v.Value-40) > 1e-9 || v.U != 2 {
		t.Errorf("resting at %v ± %v, want 40 ± 2", v.Value, v.U)
	}
	if v := s.signal(t, "ankle.stiffness"); v.Value == v.Value || v.U == v.U {
		t.Errorf("a stiffness of %v ± %v before anybody stood up", v.Value, v.U)
	}
	s.play(30*time.Second, 32*time.Second, 10, func(t float64) (float64, float64) {
		up := (1 - math.Cos(math.Pi*(t-30)/2)) / 2
		return 40 + 18*up, 28 + 8*up
	})
	s.play(32*time.Second, 50*time.Second, 10, level(58, 36))
	for name, want := range map[string]float64{"ankle.stiffness": 18, "calf.stiffness": 8} {
		if v := s.signal(t, name); math.Abs(v.Value-want) > 0.5 || math.Abs(v.U-math.Sqrt(8)) > 1e-9 {
			t.Errorf("%s is %v ± %v, want %v ± %v", name, v.Value, v.U, want, math.Sqrt(8))
		}
	}
	s.expect(t)
}
