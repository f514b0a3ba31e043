package curve

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/near"
	"weald/ingest/sample"
)

func must(t *testing.T) func(Curve, error) Curve {
	return func(c Curve, err error) Curve {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
}

func TestModels(t *testing.T) {
	line := must(t)(New(Line, 1, 0.5))
	near.To(t, "line", line.At(10), 6, 0)
	square := must(t)(New(Quadratic, 1, 0.5, 0.25))
	near.To(t, "quadratic", square.At(2), 3, 0)
	rising := must(t)(New(Power, 100, 2, 1.5, 1))
	near.To(t, "power law", rising.At(104), 16, 1e-12)
	near.To(t, "power law at no load", rising.At(90), 0, 0)
	falling := must(t)(New(Power, 240, 2, 1, -1))
	near.To(t, "power law that falls", falling.At(230), 20, 1e-12)
	cubic := must(t)(Through([]Knot{{0, 0}, {10, 10}, {20, 20}}))
	near.To(t, "cubic through a line", cubic.At(13), 13, 1e-12)
	near.To(t, "cubic beyond its knots", cubic.At(25), 25, 1e-12)
	near.To(t, "cubic before its knots", cubic.At(-5), -5, 1e-12)
	if v := line.At(math.NaN()); v == v {
		t.Errorf("a missing count is %v mmHg", v)
	}
	if v := (Curve{}).At(1); v == v {
		t.Errorf("no curve gives %v mmHg", v)
	}
}

func TestNoCurve(t *testing.T) {
	for says, f := range map[string]func() (Curve, error){
		"want 2":            func() (Curve, error) { return New(Line, 1) },
		"has no coeff":      func() (Curve, error) { return New(Monotone, 1) },
		"is NaN":            func() (Curve, error) { return New(Line, 1, math.NaN()) },
		"side 0":            func() (Curve, error) { return New(Power, 1, 1, 1, 0) },
		"needs 2":           func() (Curve, error) { return Through([]Knot{{1, 1}}) },
		"do not increase":   func() (Curve, error) { return Through([]Knot{{1, 1}, {1, 2}}) },
		"of the knots turn": func() (Curve, error) { return Through([]Knot{{1, 1}, {2, 2}, {3, 1}}) },
	} {
		if _, err := f(); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("error %v, want one that says %q", err, says)
		}
	}
}

// A monotone curve never turns, passes through its knots, and survives its
// encoding to the bit.
func TestMonotoneIsMonotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sign := rapid.SampledFrom([]float64{1, -1}).Draw(t, "sign")
		step := rapid.Float64Range(0.01, 100)
		var knots []Knot
		x, y := 0.0, 0.0
		for range rapid.IntRange(2, 12).Draw(t, "knots") {
			knots = append(knots, Knot{x, sign * y})
			x += step.Draw(t, "dx")
			y += rapid.OneOf(rapid.Just(0.0), step).Draw(t, "dy")
		}
		c, err := Through(knots)
		if err != nil {
			t.Fatal(err)
		}
		for _, k := range knots {
			if math.Abs(c.At(k.Raw)-k.MMHg) > 1e-9*(1+math.Abs(k.MMHg)) {
				t.Fatalf("at knot %v: %v", k, c.At(k.Raw))
			}
		}
		const n = 400
		last := c.At(-10)
		for i := range n + 1 {
			at := -10 + (x+20)*float64(i)/n
			if v := c.At(at); (v-last)*sign < -1e-9*(1+math.Abs(v)) {
				t.Fatalf("turns at %v: %v after %v", at, v, last)
			} else {
				last = v
			}
		}
		b, err := json.Marshal(c)
		if err != nil {
			t.Fatal(err)
		}
		var d Curve
		if err := json.Unmarshal(b, &d); err != nil {
			t.Fatal(err)
		}
		if at := rapid.Float64Range(-20, x+20).Draw(t, "at"); c.At(at) != d.At(at) {
			t.Fatalf("decoded gives %v at %v, not %v", d.At(at), at, c.At(at))
		}
	})
}

// budget has no part but those that a test gives.
func budget() Uncertainty {
	return Uncertainty{At: []float64{0, 100}, Fit: []float64{0, 0}, Hysteresis: []float64{0, 0}, Repeatability: []float64{0, 0}}
}

func loop(t *testing.T) *Calibration {
	down := must(t)(New(Line, -4, 1)) // at the same pressure 4 counts more
	c := &Calibration{
		Version: Version, Loading: must(t)(New(Line, 0, 1)), Unloading: &down, Width: 2,
		Raw: Range{0, 100}, MMHg: Range{0, 100}, U: budget(),
	}
	if err := c.Check(); err != nil {
		t.Fatal(err)
	}
	return c
}

func TestBranches(t *testing.T) {
	c := loop(t)
	for d, want := range map[Direction][2]float64{
		Loading: {50, 4 / math.Sqrt(12) / 2}, Unloading: {46, 4 / math.Sqrt(12) / 2}, Still: {48, 4 / math.Sqrt(12)},
	} {
		v := c.Value(50, d, 0)
		near.To(t, "pressure", float64(v.MMHg), want[0], 1e-12)
		near.To(t, "uncertainty", v.Independent, want[1], 1e-12)
	}
}

// The parts are those of the worked budget (facts: JCGM 100, a cuff of
// +/-3 mmHg, hysteresis 2.8, resolution 0.5, s 1.5, drift +/-2 mmHg): 2.69397.
func TestWorkedBudget(t *testing.T) {
	c := loop(t)
	c.Unloading = nil
	c.U = Uncertainty{
		At: []float64{0, 100}, Fit: []float64{0.14434, 0.14434}, Hysteresis: []float64{0.80829, 0.80829},
		Repeatability: []float64{1.5, 1.5}, DriftPerDay: 1.1547 / 30, Reference: 1.73205,
	}
	v := c.Value(50, Still, 30*24*time.Hour)
	near.To(t, "combined", v.U(), 2.69397, 1e-4)
	near.To(t, "shared", v.Shared, 1.73205, 1e-12)
}

func TestOutsideIsExtrapolated(t *testing.T) {
	c := loop(t)
	c.U.Fit = []float64{1, 1}
	c.Unloading = nil
	for raw, want := range map[float64]struct {
		extrapolated bool
		u            float64
	}{-10: {true, 1.2}, 0: {false, 1}, 50: {false, 1}, 100: {false, 1}, 150: {true, 2}} {
		v := c.Value(raw, Loading, 0)
		if v.Extrapolated != want.extrapolated {
			t.Errorf("count %v: extrapolated is %v", raw, v.Extrapolated)
		}
		near.To(t, "uncertainty", v.U(), want.u, 1e-12)
	}
	if v := c.Value(math.NaN(), Loading, 0); v.MMHg == v.MMHg || v.Extrapolated {
		t.Errorf("a missing count gave %+v", v)
	}
}

// The table of facts 3.3: c = 0.03, 1 + c log10(1 + t/1 s).
func TestCreepFactor(t *testing.T) {
	c := Creep{PerDecade: 0.03}
	for s, want := range map[int]float64{10: 1.03124, 60: 1.05356, 600: 1.08337, 3600: 1.10669, 86400: 1.14810} {
		near.To(t, "factor", c.Factor(time.Duration(s)*time.Second), want, 5e-6)
	}
	dwell := Creep{PerDecade: 0.03, Dwell: 30}
	near.To(t, "factor at the dwell", dwell.Factor(30*time.Second), 1, 0)
	v := c.Correct(Value{MMHg: 1.08337 * 40, Independent: 1}, 10*time.Minute)
	near.To(t, "corrected", float64(v.MMHg), 40, 1e-3)
}

// Each line: minutes, pressure, and what the motion is then. Over minutes the
// average has caught up.
func TestMotion(t *testing.T) {
	var m Motion
	for _, s := range []struct {
		at, p     float64
		direction Direction
		age       float64
	}{
		{0, 10, Still, 0},
		{1, 11, Still, 1},     // within the width
		{2, 12.5, Loading, 0}, // risen by more than 2 in all
		{3, 30, Loading, 0},
		{4, 29, Loading, 1}, // less than the width
		{60, 28.5, Loading, 57},
		{61, math.NaN(), Loading, 58},
		{62, 27.5, Unloading, 0}, // back by more than 2 from 30
		{63, 20, Unloading, 0},
		{64, 21.5, Unloading, 1},
		{65, 22.5, Loading, 0},
	} {
		at := sample.Instant(s.at * 60e9)
		d, age := m.Step(at, s.p, 2)
		if d != s.direction || age.Minutes() != s.age {
			t.Errorf("at %v min, %v mmHg: direction %d, age %v, want %d, %v min", s.at, s.p, d, age, s.direction, s.age)
		}
	}
}

// Noise of as much as the width turns nothing at a rate at which the average
// takes it away; the average keeps the share that Smoothed says.
func TestMotionIsSmooth(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	var m Motion
	const rate, n = 50, 50000
	squares := 0.0
	for i := range n {
		noise := rng.NormFloat64()
		d, _ := m.Step(sample.Instant(i)*1e9/rate, 40+noise, 1.5)
		if d != Still {
			t.Fatalf("after %d readings noise is a motion", i)
		}
		squares += (m.Smooth - 40) * (m.Smooth - 40)
	}
	near.To(t, "share of the noise", math.Sqrt(squares/n), Smoothed(rate), 0.02)
	near.To(t, "share at one reading a second", Smoothed(1), math.Sqrt((1-math.Exp(-1))/(1+math.Exp(-1))), 1e-12)
}

func TestEncoding(t *testing.T) {
	c := loop(t)
	c.Creep = &Creep{PerDecade: 0.03, Dwell: 30, U: 0.001}
	b, err := json.Marshal(c)
	if err != nil {
		t.Fatal(err)
	}
	var d Calibration
	if err := json.Unmarshal(b, &d); err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(c, &d) {
		t.Errorf("decoded %+v, want %+v", d, *c)
	}
	d.Version = 2
	if err := d.Check(); err == nil || !strings.Contains(err.Error(), "version 2") {
		t.Errorf("a later version: %v", err)
	}
	if err := json.Unmarshal([]byte(`{"loading":{"model":"line","coefficients":[1]}}`), &d); err == nil {
		t.Error("a line with one coefficient was decoded")
	}
}
