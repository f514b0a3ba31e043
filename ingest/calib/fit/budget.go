package fit

import (
	"fmt"
	"math"

	"weald/ingest/calib/budget"
	"weald/ingest/calib/curve"
	"weald/ingest/calib/figures"
	"weald/ingest/calib/record"
)

// budget fills in the uncertainty and the width, and returns remarks on what
// the table could not say.
func (r *Result) budget(rows []figures.Row, c candidate, o Options) (remarks []string) {
	of, level := figures.Levels(rows)
	e := deviations(rows, c)
	s := measure(rows, of, e)
	span := r.Calibration.MMHg.Span()
	u := curve.Uncertainty{At: level, Reference: o.ReferenceU}
	days := o.Valid.Hours() / 24
	u.DriftPerDay = o.Drift / 100 * span / math.Sqrt(3) / days
	assumed := 0.0
	if !s.known || s.cycles == 1 && rows[0].Cycle > 0 { // readings within one cycle are no repeats
		assumed = o.Warn / 100 * span / math.Sqrt(12)
		remarks = append(remarks, fmt.Sprintf("repeatability is not known from one cycle: %.3g %% of full scale is assumed; run three cycles", o.Warn))
	}
	mean, _ := figures.Means(rows, of, len(level))
	loop := loops(rows, of, len(level), e, s)
	unexplained := r.lackOfFit(rows, c, s)
	off := unexplainedAt(rows, of, len(level), e, s, c.down != nil)
	for l := range level {
		slope := r.slope(mean[l], o.Noise)
		u.Fit = append(u.Fit, math.Hypot(c.up.se(mean[l]), max(unexplained, off[l])))
		h := 0.0
		if c.down == nil {
			h = budget.Width("hysteresis", loop[l]).U
		}
		u.Hysteresis = append(u.Hysteresis, h)
		u.Repeatability = append(u.Repeatability, math.Hypot(assumed, s.live(o.Noise*slope)))
	}
	r.Calibration.U = u
	// A turn is one when it is beyond what a plateau may move by and what noise
	// makes in a day on top of that.
	rate := o.Rate
	if rate == 0 {
		rate = 1
	}
	noise := o.Noise * r.slope(mean[len(mean)/2], o.Noise)
	r.Calibration.Width = steady*span + 8*noise*curve.Smoothed(rate)
	if o.Creep == nil {
		remarks = append(remarks, "creep is not known and not in the uncertainty: hold one pressure for ten minutes")
	}
	if !figures.Directed(rows) {
		remarks = append(remarks, "hysteresis is not known: the table does not have both directions")
	}
	return remarks
}

// slope returns how many mmHg a count is at a reading: over the reach of the noise,
// and not at a single point, where the curve may happen to be flat. A reading at
// the foot of a steep curve may be the noise of one far up.
func (r *Result) slope(raw, noise float64) float64 {
	c := &r.Calibration
	reach := max(c.Raw.Span()/20, 2*noise)
	low, high := max(raw-reach, c.Raw.Low), min(raw+reach, c.Raw.High)
	steep := math.Abs(c.Loading.At(high) - c.Loading.At(low))
	if c.Unloading != nil {
		steep = max(steep, math.Abs(c.Unloading.At(high)-c.Unloading.At(low)))
	}
	return steep / (high - low)
}

// lackOfFit returns by how much the left-out levels deviate beyond what their
// scatter explains, in mmHg.
func (r *Result) lackOfFit(rows []figures.Row, c candidate, s scatter) float64 {
	// With one curve for both directions the loop is in the left-out error too;
	// it has its own place in the budget.
	squares, n := 0.0, 0
	neighbours := 1.0 // what a left-out level's own mean scatters, and more where the curve hangs on two others
	if c.model == curve.Monotone {
		neighbours = 1.5
	}
	for k, side := range sides(rows, c.branches) {
		near := c.up.near
		if k == 1 {
			near = c.down.near
		}
		of, level := figures.Levels(side)
		e, err := leaveOut(c.model, side, near)
		if err != nil {
			return c.loo
		}
		// leaveOut goes level by level, in order of rows within each.
		i := 0
		for l := 1; l < len(level)-1; l++ {
			sum, k := 0.0, 0.0
			for j := range side {
				if of[j] == l {
					sum, k, i = sum+e[i], k+1, i+1
				}
			}
			if k > 0 {
				squares += sum/k*sum/k - s.within*s.within/k*neighbours
				n++
			}
		}
	}
	if n == 0 {
		return c.loo
	}
	return math.Sqrt(max(squares, 0) / float64(n))
}

// complete adds to the figures what only the fit knows.
func (r *Result) complete(rows []figures.Row, o Options) {
	f, c := &r.Figures, &r.Calibration
	if r.ResidualSD == r.ResidualSD {
		f.ResidualSD = &figures.Share{MMHg: r.ResidualSD, Percent: 100 * r.ResidualSD / f.FullScale}
	}
	of, level := figures.Levels(rows)
	var zero mean
	for i, row := range rows {
		if of[i] == 0 && row.Direction != figures.Down {
			zero.add(c.Loading.At(row.Raw) - row.Reference)
		}
	}
	if zero.n > 0 {
		f.Zero = f.InMMHg(zero.of(), level[0])
	}
	worst, at := 0.0, 0.0
	for i := range 101 {
		raw := c.Raw.Low + c.Raw.Span()*float64(i)/100
		if p, u := c.At(raw); u > worst {
			worst, at = u, float64(p)
		}
	}
	f.UHighest = f.InMMHg(worst, at)
	if o.Creep != nil {
		percent := 100 * o.Creep.PerDecade
		f.CreepPerDecade = &percent
	}
}

// judge holds the figures against the acceptance limits: the repeatability of
// levels, and, where it is known, twice the standard deviation of single
// readings, which is what live values do.
func (r *Result) judge(remarks []string, o Options) {
	r.Verdict, r.Remarks = record.Accepted, remarks
	hold := func(percent float64, text string) {
		switch verdict := o.Limits().Judge(percent); {
		case verdict == record.Rejected:
			r.Verdict = verdict
			text += fmt.Sprintf(", more than %g %%: not fit for use. Exchange the sensor, or load it a few times and calibrate again", o.Reject)
		case verdict == record.Warned:
			if r.Verdict == record.Accepted {
				r.Verdict = verdict
			}
			text += fmt.Sprintf(", more than %g %%: average it with others", o.Warn)
		}
		r.Remarks = append(r.Remarks, text)
	}
	if p := r.Figures.Repeatability; p != nil {
		hold(p.Percent, fmt.Sprintf("repeatability is %.1f %% of full scale (%.1f mmHg, at %.4g mmHg)", p.Percent, p.MMHg, p.At))
	}
	if o.Noise > 0 {
		p := r.Figures.Figure(2*o.Noise, 0)
		r.Figures.Scatter = p
		hold(p.Percent, fmt.Sprintf("single readings scatter by %.1f %% of full scale (%.1f mmHg, two standard deviations)", p.Percent, p.MMHg))
	}
}
