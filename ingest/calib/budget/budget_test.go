package budget

import (
	"math"
	"testing"

	"weald/ingest/near"
)

// A cuff of +/-3 mmHg, hysteresis 2.8, resolution 0.5, repeatability 1.5, drift
// +/-2: worked by hand after JCGM 100, 4.3.7 and F.2.2.
func TestCuff(t *testing.T) {
	all := []Component{
		Width("cuff", 6), Width("hysteresis", 2.8), Width("resolution", 0.5), {"repeatability", 1.5, math.Inf(1)}, Width("drift", 4),
	}
	for i, want := range []float64{1.7321, 0.8083, 0.1443, 1.5, 1.1547} {
		near.To(t, all[i].Name, all[i].U, want, 5e-5)
	}
	u, df := Combined(all...)
	near.To(t, "combined", u, 2.69397, 5e-6)
	near.To(t, "expanded, k = 2", 2*u, 5.38795, 1e-5)
	if !math.IsInf(df, 1) {
		t.Errorf("known limits have %v degrees of freedom", df)
	}
}

// JCGM 100, G.4.1 (from memory, and recomputed).
func TestWelchSatterthwaite(t *testing.T) {
	u, df := Combined(Component{"1", 0.25, 9}, Component{"2", 0.57, 4}, Component{"3", 0.82, 14})
	near.To(t, "combined", u, 1.02947, 5e-6)
	near.To(t, "degrees of freedom", df, 18.9987, 5e-5)
	near.To(t, "t95(19)", Student(19), 2.09, 0.005)
	near.To(t, "expanded", u*Student(df), 2.2, 0.05)
}

// t95 from the printed tables: 12.706, 4.303, 2.228, 1.960.
func TestStudent(t *testing.T) {
	for df, want := range map[float64]float64{1: 12.706, 2: 4.303, 10: 2.228, math.Inf(1): 1.960} {
		near.To(t, "t", Student(df), want, 5e-4)
	}
}
