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
	if !s.known {
		assumed = o.Warn / 100 * span / math.Sqrt(12)
		remarks = append(remarks, fmt.Sprintf("repeatability is not known from one cycle: %.3g %% of full scale is assumed; run three cycles", o.Warn))
	}
	mean, _ := figures.Means(rows, of, len(level))
	loop := loops(rows, of, len(level), e, s)
	unexplained := r.lackOfFit(rows, c, s)
	for l := range level {
		slope := r.slope(mean[l])
		u.Fit = append(u.Fit, math.Hypot(c.up.se(mean[l]), unexplained))
		h := 0.0
		if c.down == nil {
			h = budget.Width("hysteresis", loop[l]).U
		}
		u.Hysteresis = append(u.Hysteresis, h)
		u.Repeatability = append(u.Repeatability, math.Hypot(assumed, s.live(o.Noise*slope)))
	}
	r.Calibration.U = u
	// A turn is one when it is beyond what a reading scatters.
	r.Calibration.Width = max(4*math.Hypot(s.within, o.Noise*r.slope(mean[len(mean)/2])), 0.01*span)
	if !figures.Directed(rows) {
		remarks = append(remarks, "hysteresis is not known: the table does not have both directions")
	}
	return remarks
}

// slope returns how many mmHg a count is at a reading, on average over the range
// where the curve itself is steep or flat at one point only.
func (r *Result) slope(raw float64) float64 {
	c := &r.Calibration
	reach := c.Raw.Span() / 20
	low, high := max(raw-reach, c.Raw.Low), min(raw+reach, c.Raw.High)
	return math.Abs(c.Loading.At(high)-c.Loading.At(low)) / (high - low)
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
func (r *Result) complete(o Options) {
	f, c := &r.Figures, &r.Calibration
	if r.ResidualSD == r.ResidualSD {
		f.ResidualSD = &figures.Share{MMHg: r.ResidualSD, Percent: 100 * r.ResidualSD / f.FullScale}
	}
	lowest := c.Raw.Low
	if f.Sensitivity < 0 {
		lowest = c.Raw.High
	}
	f.Zero = f.InMMHg(c.Loading.At(lowest)-c.MMHg.Low, c.MMHg.Low)
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

// judge holds the figures against the acceptance limits.
func (r *Result) judge(remarks []string, o Options) {
	r.Verdict, r.Remarks = record.Accepted, remarks
	if p := r.Figures.Repeatability; p != nil {
		at := fmt.Sprintf("repeatability is %.1f %% of full scale (%.1f mmHg, at %.4g mmHg)", p.Percent, p.MMHg, p.At)
		switch {
		case p.Percent > o.Reject:
			r.Verdict = record.Rejected
			r.Remarks = append(r.Remarks, fmt.Sprintf("%s, more than %g %%: not fit for use. Exchange the sensor, or load it a few times and calibrate again", at, o.Reject))
			return
		case p.Percent > o.Warn:
			r.Verdict = record.Warned
			r.Remarks = append(r.Remarks, fmt.Sprintf("%s, more than %g %%: average it with others", at, o.Warn))
			return
		}
		r.Remarks = append(r.Remarks, at)
	}
}
