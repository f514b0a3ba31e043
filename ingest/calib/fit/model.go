package fit

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"

	"weald/ingest/calib/curve"
	"weald/ingest/calib/figures"
)

// fitted is one curve of one model through some readings.
type fitted struct {
	curve  curve.Curve
	sd     float64               // of the residuals in mmHg
	se     func(float64) float64 // standard error of the curve at a count, in mmHg
	errors []float64             // of the coefficients; nil where there are none
	near   []float64             // where a search for a like curve may begin; nil: needs none
}

// fitModel fits one model to rows. Curves that turn within their readings are
// refused: two pressures would read the same.
func fitModel(m curve.Model, rows []figures.Row, near []float64) (fitted, error) {
	x, y := columns(rows)
	switch m {
	case curve.Line, curve.Quadratic:
		degree := 1
		if m == curve.Quadratic {
			degree = 2
		}
		p, err := FitPolynomial(x, y, degree)
		if err != nil {
			return fitted{}, err
		}
		c, err := curve.New(m, p.Coefficients...)
		if err != nil {
			return fitted{}, err
		}
		if low, high := slices.Min(x), slices.Max(x); c.Slope(low)*c.Slope(high) <= 0 {
			return fitted{}, errors.New("turns within the calibrated range")
		}
		return fitted{curve: c, sd: p.ResidualSD, se: p.SE, errors: p.StandardErrors}, nil
	case curve.Power:
		return fitPower(x, y, near)
	case curve.Monotone:
		return fitMonotone(rows)
	}
	return fitted{}, fmt.Errorf("model %q is not known", m)
}

func columns(rows []figures.Row) (raw, mmHg []float64) {
	for _, r := range rows {
		raw, mmHg = append(raw, r.Raw), append(mmHg, r.Reference)
	}
	return raw, mmHg
}

// fitMonotone goes through the level means. Means that turn are pooled with
// their neighbours (pool adjacent violators), so that it never does.
func fitMonotone(rows []figures.Row) (fitted, error) {
	of, level := figures.Levels(rows)
	mean, n := figures.Means(rows, of, len(level))
	type pool struct{ raw, mmHg, n float64 }
	var pools []pool
	sign := 1.0
	if mean[len(mean)-1] < mean[0] {
		sign = -1
	}
	for i := range level {
		p := pool{mean[i], level[i], float64(n[i])}
		for len(pools) > 0 && sign*(p.raw-pools[len(pools)-1].raw) <= 0 {
			q := pools[len(pools)-1]
			pools = pools[:len(pools)-1]
			all := p.n + q.n
			p = pool{(p.n*p.raw + q.n*q.raw) / all, (p.n*p.mmHg + q.n*q.mmHg) / all, all}
		}
		pools = append(pools, p)
	}
	var knots []curve.Knot
	for _, p := range pools {
		knots = append(knots, curve.Knot{Raw: p.raw, MMHg: p.mmHg})
	}
	slices.SortFunc(knots, func(a, b curve.Knot) int { return cmp.Compare(a.Raw, b.Raw) })
	c, err := curve.Through(knots)
	if err != nil {
		return fitted{}, err
	}
	sse := 0.0
	for _, r := range rows {
		d := r.Reference - c.At(r.Raw)
		sse += d * d
	}
	// Without degrees of freedom the left-out levels alone tell.
	sd := math.Sqrt(sse / float64(max(len(rows)-len(knots), 1)))
	each := sd / math.Sqrt(float64(len(rows))/float64(len(knots)))
	return fitted{curve: c, sd: sd, se: func(float64) float64 { return each }}, nil
}

// candidate is a model with or without branches.
type candidate struct {
	model    curve.Model
	branches bool
	up       fitted
	down     *fitted

	loo float64 // root mean square over left-out levels, mmHg
	sd  float64 // of all residuals, mmHg; NaN without degrees of freedom
	err error
}

// sides returns the rows that each curve of a candidate is fitted to. The turn
// at the top belongs to both branches.
func sides(rows []figures.Row, branches bool) [][]figures.Row {
	if !branches {
		return [][]figures.Row{rows}
	}
	var up, down []figures.Row
	for _, r := range rows {
		if r.Direction == figures.Down {
			down = append(down, r)
		} else {
			up = append(up, r)
		}
	}
	top := func(r []figures.Row) float64 {
		return slices.MaxFunc(r, func(a, b figures.Row) int { return cmp.Compare(a.Reference, b.Reference) }).Reference
	}
	if highest, span := top(up), top(rows)-rows[0].Reference; top(down) < highest-0.02*math.Abs(span) {
		for _, r := range up {
			if r.Reference >= highest-0.02*math.Abs(span) {
				down = append(down, r)
			}
		}
	}
	return [][]figures.Row{up, down}
}

// beyondAtMost is how far a branch may be extrapolated at either end, as a share
// of the range: common practice, without a source, ends the way down a step of ten above the bottom.
const beyondAtMost = 0.15

// covers reports whether a branch that was read over part can stand for the whole
// range. A cycle that broke off halfway down leaves an unloading curve that knows
// nothing of low pressures, and a sensor at rest is read by both curves.
func covers(part, whole curve.Range) bool {
	beyond := beyondAtMost * (whole.High - whole.Low)
	return part.Low <= whole.Low+beyond && part.High >= whole.High-beyond
}

func referenceOf(r figures.Row) float64 { return r.Reference }

func try(m curve.Model, rows []figures.Row, branches bool) candidate {
	c := candidate{model: m, branches: branches, loo: math.NaN(), sd: math.NaN()}
	squares, left := 0.0, []float64(nil)
	count := 0
	whole := spread(rows, referenceOf)
	for i, side := range sides(rows, branches) {
		if !covers(spread(side, referenceOf), whole) {
			c.err = fmt.Errorf("%s was not read over the whole range", []string{"loading", "unloading"}[i])
			return c
		}
		f, err := fitModel(m, side, nil)
		if err != nil {
			c.err = err
			return c
		}
		if i == 0 {
			c.up = f
		} else {
			c.down = &f
		}
		for _, r := range side {
			d := r.Reference - f.curve.At(r.Raw)
			squares, count = squares+d*d, count+1
		}
		e, err := leaveOut(m, side, f.near)
		if err != nil {
			c.err = fmt.Errorf("with a level left out: %w", err)
			return c
		}
		left = append(left, e...)
	}
	if df := count - parameters(m, rows)*(1+btoi(branches)); df > 0 {
		c.sd = math.Sqrt(squares / float64(df))
	}
	for i := range left {
		left[i] *= left[i]
	}
	c.loo = math.Sqrt(stat.Mean(left, nil))
	return c
}

// Residuals returns what a candidate makes of each row less its reference, in mmHg:
// the model fitted to all rows, with a curve for each direction or with one. The
// error says why it cannot be fitted.
func Residuals(m curve.Model, branches bool, rows []figures.Row) ([]float64, error) {
	c := candidate{model: m, branches: branches}
	for i, side := range sides(rows, branches) {
		f, err := fitModel(m, side, nil)
		if err != nil {
			return nil, err
		}
		if i == 0 {
			c.up = f
		} else {
			c.down = &f
		}
	}
	return deviations(rows, c), nil
}

func parameters(m curve.Model, rows []figures.Row) int {
	switch m {
	case curve.Line:
		return 2
	case curve.Quadratic, curve.Power:
		return 3
	}
	_, level := figures.Levels(rows)
	return len(level)
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

// leaveOut returns the errors, in mmHg, at the rows of every inner level of
// fits that did not see it.
func leaveOut(m curve.Model, rows []figures.Row, near []float64) ([]float64, error) {
	of, level := figures.Levels(rows)
	var out []float64
	for l := 1; l < len(level)-1; l++ {
		var rest, left []figures.Row
		for i, r := range rows {
			if of[i] == l {
				left = append(left, r)
			} else {
				rest = append(rest, r)
			}
		}
		f, err := fitModel(m, rest, near)
		if err != nil {
			return nil, err
		}
		for _, r := range left {
			out = append(out, f.curve.At(r.Raw)-r.Reference)
		}
	}
	if len(out) == 0 {
		return nil, errors.New("too few levels")
	}
	return out, nil
}
