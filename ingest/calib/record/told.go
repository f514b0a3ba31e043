package record

import (
	"math"

	"weald/ingest/calib/curve"
	"weald/ingest/calib/figures"
)

// A Residual is what a record makes of one of its own readings, in mmHg.
type Residual struct {
	figures.Row
	Fitted float64
	Left   float64 // Fitted less the reference
}

// Residuals returns them for every reading, in their order.
func (r *Record) Residuals() (out []Residual) {
	for _, one := range r.Rows {
		v := float64(r.Calibration.Value(one.Raw, direction(one.Direction), 0).MMHg)
		out = append(out, Residual{one, v, v - one.Reference})
	}
	return out
}

func direction(d figures.Direction) curve.Direction {
	switch d {
	case figures.Up:
		return curve.Loading
	case figures.Down:
		return curve.Unloading
	}
	return curve.Still
}

// A Part is the uncertainty at one pressure, in mmHg, when the record expires and
// without regard to motion.
type Part struct {
	At                                               float64
	Fit, Hysteresis, Repeatability, Drift, Reference float64
	Combined                                         float64
}

// Budget returns the uncertainty at each pressure at which it is stated.
func (r *Record) Budget() (out []Part) {
	c := &r.Calibration
	drift := c.U.DriftPerDay * r.ValidUntil.Sub(r.At).Hours() / 24
	for i, p := range c.U.At {
		h := c.U.Hysteresis[i]
		if c.Unloading != nil {
			raw := c.Inverse(p)
			h = math.Abs(c.Unloading.At(raw)-c.Loading.At(raw)) / math.Sqrt(12)
		}
		one := Part{At: p, Fit: c.U.Fit[i], Hysteresis: h, Repeatability: c.U.Repeatability[i], Drift: drift, Reference: c.U.Reference}
		for _, u := range []float64{one.Fit, one.Hysteresis, one.Repeatability, one.Drift, one.Reference} {
			one.Combined += u * u
		}
		one.Combined = math.Sqrt(one.Combined)
		out = append(out, one)
	}
	return out
}

// A Level is what was read at one pressure of a record, over all cycles.
type Level struct {
	At        float64 // the mean of the references, mmHg
	Readings  int
	Loading   float64 // means in counts; NaN where there is none
	Unloading float64
	Worst     float64 // the largest of what the record makes of the readings less the reference, either way, mmHg
	Combined  float64 // standard uncertainty when the record expires, mmHg; NaN where it is not stated
}

// Levels returns them by rising pressure.
func (r *Record) Levels() []Level {
	of, at := figures.Levels(r.Rows)
	up, _ := figures.Means(r.Rows, of, len(at), figures.Up, "")
	down, _ := figures.Means(r.Rows, of, len(at), figures.Down)
	out := make([]Level, len(at))
	budget := r.Budget()
	for l := range out {
		out[l] = Level{At: at[l], Loading: up[l], Unloading: down[l], Combined: math.NaN()}
		if len(budget) == len(out) {
			out[l].Combined = budget[l].Combined
		}
	}
	for i, one := range r.Residuals() {
		l := &out[of[i]]
		if l.Readings++; math.Abs(one.Left) > math.Abs(l.Worst) {
			l.Worst = one.Left
		}
	}
	return out
}
