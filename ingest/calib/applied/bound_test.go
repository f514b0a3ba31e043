package applied_test

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/calib/curve"
)

// anyCalibration is of any model, rising or falling, over any range of counts to
// some hundred mmHg, with or without branches.
var anyCalibration = rapid.Custom(func(t *rapid.T) curve.Calibration {
	c := calibration(curve.Curve{})
	c.Raw.Low = rapid.Float64Range(-1000, 3e6).Draw(t, "low")
	span := rapid.Float64Range(20, 1e5).Draw(t, "span")
	c.Raw.High = c.Raw.Low + span
	for i := range c.U.At {
		part := rapid.Float64Range(0.05, 5)
		c.U.Fit[i], c.U.Hysteresis[i], c.U.Repeatability[i] = part.Draw(t, "fit"), part.Draw(t, "hysteresis"), part.Draw(t, "repeatability")
	}
	full := rapid.Float64Range(30, 400).Draw(t, "full")
	falls := rapid.Bool().Draw(t, "falls")
	model := rapid.SampledFrom(curve.Models).Draw(t, "model")
	bend, rest := rapid.Float64Range(0.1, 1).Draw(t, "bend"), rapid.Float64Range(-0.1, 0.3).Draw(t, "rest")
	// along is a curve that is a little steeper or flatter.
	along := func(share float64) curve.Curve {
		from, side := c.Raw.Low, 1.
		if falls {
			from, side = c.Raw.High, -1
		}
		top := full * share
		switch model {
		case curve.Line:
			return must(curve.New(model, -side*top*from/span, side*top/span))
		case curve.Quadratic: // top * (bend*x + (1-bend)*x^2) of x = side*(raw-from)/span
			a, b := side*bend*top/span, (1-bend)*top/span/span
			return must(curve.New(model, -a*from+b*from*from, a-2*b*from, b))
		case curve.Power:
			exponent := 0.5 + 1.5*bend
			return must(curve.New(model, from+side*rest*span, top/math.Pow((1-rest)*span, exponent), exponent, side))
		}
		var knots []curve.Knot
		for i := range 6 {
			x := float64(i) / 5
			k := curve.Knot{Raw: c.Raw.Low + x*span, MMHg: top * math.Pow(x, 0.5+bend)}
			if falls {
				k.MMHg = top - k.MMHg
			}
			knots = append(knots, k)
		}
		return must(curve.Through(knots))
	}
	c.Loading = along(1)
	if rapid.Bool().Draw(t, "branches") {
		down := along(rapid.Float64Range(0.8, 1).Draw(t, "down"))
		c.Unloading = &down
	}
	return c
})

// Whatever the calibration, a table is off by no more than a tenth of the uncertainty
// and 0.01 mmHg, or by what it adds to the uncertainty; and states no less of that
// than 6 % below the formula; nor more than 6 % above what it is within a
// thousandth of the span, but where a power law begins.
func TestTablesAreCloseToAnyCurve(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := anyCalibration.Draw(t, "calibration")
		s := set(recordOf(0, c))
		s.Convert(scan(time.Hour, c.Raw.Low, 5))
		for range 50 {
			raw := c.Raw.Low + rapid.Float64Range(0, 1).Draw(t, "share")*c.Raw.Span()
			x := scan(0, raw, 5)
			x.Rail = math.Inf(1)
			s.Convert(x)
			want := c.Value(raw, curve.Still, 0)
			off := math.Abs(x.Values[0] - float64(want.MMHg))
			added := math.Sqrt(max(0, x.U[0]*x.U[0]-0.9*want.Independent*want.Independent))
			if !(off <= 0.01+0.1*want.Independent || off <= added) || x.U[0] < 0.94*want.Independent-0.01 {
				t.Fatalf("%v gave %v ± %v, want %v ± %v", raw, x.Values[0], x.U[0], want.MMHg, want.Independent)
			}
			around := 0.
			for k := -8.0; k <= 8; k++ {
				at := min(max(raw+k/8*c.Raw.Span()/1000, c.Raw.Low), c.Raw.High)
				around = max(around, c.Value(at, curve.Still, 0).Independent)
			}
			if c.Loading.Model() != curve.Power && x.U[0] > 1.06*around+0.01 { // others have no corner
				t.Fatalf("%v is stated as ± %v, want %v", raw, x.U[0], around)
			}
		}
	})
}
