package hold_test

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/rules/hold"
)

// The guard band of ILAC-G8:09/2019 (JCGM 106:2012): an upper limit of 60 mmHg,
// U = 5 with k = 2, w = U. There 54.9 passes, 55 and 60 pass conditionally, 62
// fails conditionally and 65.1 fails. For an alarm the safe side is the other
// one: with the risk at w = U, 2.275 %, it is raised from 55 on, and to be as sure
// of it, from 65 on.
func TestGuardBandsOfILAC(t *testing.T) {
	const u = 2.5
	risk := distuv.UnitNormal.CDF(-2)
	if math.Abs(risk-0.02275) > 5e-6 {
		t.Fatalf("the risk at w = U is %v, want 2.275 %%", risk)
	}
	for _, c := range []struct {
		v                      float64
		excluded, simple, sure bool // raised as soon as not excluded, by the value, only when sure
	}{
		{54.9, false, false, false},
		{55.0, true, false, false},
		{57, true, false, false},
		{60, true, false, false},
		{62, true, true, false},
		{64.9, true, true, false},
		{65.1, true, true, true},
	} {
		for _, k := range []struct {
			p    float64
			want bool
		}{{risk, c.excluded}, {0.5, c.simple}, {1 - risk, c.sure}} {
			above, below := hold.Above(60, 0).At(k.p), hold.Below(-60, 0).At(k.p)
			if got, _ := above.Judge(c.v, u, 0); got != sample.Of(k.want) {
				t.Errorf("%v ± %v above 60 with a certainty of %v: %v", c.v, u, k.p, got)
			}
			if got, _ := below.Judge(-c.v, u, 0); got != sample.Of(k.want) {
				t.Errorf("%v ± %v below -60 with a certainty of %v: %v", -c.v, u, k.p, got)
			}
		}
	}
	// For a one-sided risk of 5 % w = 1.645 u, of 2.5 % 1.960 u (normal tables).
	for p, k := range map[float64]float64{0.95: 1.645, 0.975: 1.960} {
		band := hold.Above(60, 0).At(p)
		for _, c := range []struct {
			v    float64
			want sample.Truth
		}{{60 + u*(k-0.001), sample.No}, {60 + u*(k+0.001), sample.Yes}} {
			if got, _ := band.Judge(c.v, u, 0); got != c.want {
				t.Errorf("%v of 60 with %v: %v, want %v", c.v, p, got, c.want)
			}
		}
	}
}

// The definition, with the distribution function of another library.
func TestCertaintyIsAProbability(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lo := rapid.Float64Range(0, 50).Draw(t, "lo")
		hi := lo + rapid.Float64Range(5, 50).Draw(t, "width")
		back := rapid.Float64Range(0, 4).Draw(t, "deadband")
		v, u := rapid.Float64Range(-50, 150).Draw(t, "v"), rapid.Float64Range(0.1, 40).Draw(t, "u")
		p := rapid.Float64Range(0.01, 0.99).Filter(func(p float64) bool { return p != 0.5 }).Draw(t, "p")
		truth := distuv.Normal{Mu: v, Sigma: u}
		for _, c := range []struct {
			band        hold.Band
			up, down    float64 // bounds without memory
			isUp, isLow float64
		}{
			{hold.Above(hi, back), hi, math.Inf(-1), hi - back, math.Inf(-1)},
			{hold.Below(lo, back), math.Inf(1), lo, math.Inf(1), lo + back},
			{hold.Outside(lo, hi, back), hi, lo, hi - back, lo + back},
		} {
			for m, b := range [][2]float64{{c.up, c.down}, {c.isUp, c.down}, {c.up, c.isLow}} {
				beyond := truth.Survival(b[0]) + truth.CDF(b[1])
				if math.Abs(beyond-p) < 1e-6 {
					continue // rounding decides
				}
				certain := c.band.At(p)
				got, next := certain.Judge(v, u, hold.Memory(m))
				if want := sample.Of(beyond >= p); got != want {
					t.Fatalf("%v ± %v, memory %d, bounds %v: %v with p %v, but the probability is %v", v, u, m, b, got, p, beyond)
				}
				if (got == sample.Yes) != (next != 0) {
					t.Fatalf("%v remembers %v", got, next)
				}
			}
		}
	})
}

// A half compares the value itself, whatever its uncertainty: to the bit as a
// band without certainty does, at every bound and one step beside it.
func TestAHalfIsTheBand(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		band := hold.Outside(20, 60, rapid.SampledFrom([]float64{0, 3}).Draw(t, "deadband"))
		v := rapid.OneOf(rapid.SampledFrom([]float64{
			20, 23, 57, 60, 60 + 1e-9, math.Nextafter(60+1e-9, 100), math.NaN(), math.Inf(1),
		}), rapid.Float64Range(0, 80)).Draw(t, "v")
		u := rapid.SampledFrom([]float64{0, 5, 1000, math.NaN(), math.Inf(1)}).Draw(t, "u")
		m := hold.Memory(rapid.IntRange(0, 2).Draw(t, "memory"))
		half := band.At(hold.Half)
		got, next := half.Judge(v, u, m)
		if want, then := band.Judge(v, m); got != want || next != then {
			t.Fatalf("%v ± %v: %v, %v; the band says %v, %v", v, u, got, next, want, then)
		}
	})
}

func TestNobodyKnowsHowSure(t *testing.T) {
	for _, c := range []struct {
		p, v float64
		want sample.Truth
	}{
		{0.95, 61, sample.Yes}, {0.95, 59, sample.No},
		{0.05, 61, sample.Yes}, {0.05, 59, sample.Maybe},
		{0.05, math.NaN(), sample.Maybe},
	} {
		band := hold.Above(60, 0).At(c.p)
		if got, _ := band.Judge(c.v, math.NaN(), 0); got != c.want {
			t.Errorf("%v without an uncertainty, certainty %v: %v, want %v", c.v, c.p, got, c.want)
		}
	}
}

// Cells judge each as a band of its own does.
func TestCertainCells(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		band := hold.Above(60, 2).At(rapid.SampledFrom([]float64{0.05, 0.5, 0.9}).Draw(t, "p"))
		var which []int
		if rapid.Bool().Draw(t, "some") {
			which = []int{1, 3}
		}
		cells := hold.NewCertainCells(4, which, hold.Spec{}, band)
		memories := make([]hold.Memory, 4)
		number := rapid.OneOf(rapid.Just(math.NaN()), rapid.Float64Range(40, 80))
		for range 5 {
			values := rapid.SliceOfN(number, 4, 4).Draw(t, "values")
			us := rapid.SliceOfN(rapid.OneOf(rapid.Just(math.NaN()), rapid.Float64Range(0, 9)), 4, 4).Draw(t, "us")
			cells.SetWith(values, us)
			for i := range values {
				if which != nil && i != 1 && i != 3 {
					continue
				}
				var want sample.Truth
				want, memories[i] = band.Judge(values[i], us[i], memories[i])
				if _, got := cells.State(i); got != want {
					t.Fatalf("cell %d, %v ± %v: %v, want %v", i, values[i], us[i], got, want)
				}
			}
		}
	})
}
