package protocol

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"weald/ingest/calib/figures"
	"weald/ingest/calib/fit"
)

// A plateau is read wherever the cuff is, and a gauge is read by somebody who pumps:
// what the channels read at the other levels tells whether a level is where it is said
// to be. That is a warning and no more: a sensor that does not repeat is off as well.
// Package figures has a reason for each number.
const (
	doubtAmong  = 0.75 // of a step: among levels that were read
	doubtBeyond = 0.6  // of a step: beyond them, along the last step
	leastDoubt  = 4    // mmHg
	witnesses   = 16   // channels that are asked at most, as many tell no more
)

// Doubts says why levels that have been read may not be at the pressure that is said,
// and what to do; "" for those that may. One a level, in their order.
func (r *Run) Doubts() []string { return r.doubts }

// doubt looks at all levels again: each tells of the others.
func (r *Run) doubt() {
	r.doubts = make([]string, len(r.taken))
	asked := r.witnesses()
	for n := range r.taken {
		t := &r.taken[n]
		tolerance := max(doubtAmong*r.step(n), leastDoubt)
		says, beside := r.says(asked, n, n), math.NaN()
		if n > 0 && r.taken[n-1].Direction == t.Direction { // what a cycle or a loop is off by, it is at its neighbour too
			beside = r.says(asked, n-1, n) - r.taken[n-1].Reference
		}
		switch {
		case math.IsNaN(says):
			says, tolerance = r.goesOn(asked, n), max(doubtBeyond*r.step(n), leastDoubt)
		case math.Abs(says-t.Reference-beside) <= tolerance:
			continue
		}
		planned := r.plan.Levels[n].Reference
		switch {
		case math.Abs(says-t.Reference) > tolerance:
			r.doubts[n] = fmt.Sprintf("the channels read what would be about %.0f mmHg, and %.4g mmHg is said: look at the gauge, and correct it or read it again", says, t.Reference)
		case math.IsNaN(says) && math.Abs(t.Reference-planned) > max(r.step(n), leastDoubt):
			r.doubts[n] = fmt.Sprintf("%.4g mmHg is said where %.4g mmHg was planned: correct it if that was not meant", t.Reference, planned)
		}
	}
}

// witnesses are channels under the cuff that follow it, spread over all of those.
func (r *Run) witnesses() (out []int) {
	for i := range r.windows {
		if r.plan.Under[i] && r.windows[i].most > 0 {
			out = append(out, i)
		}
	}
	if by := (len(out) + witnesses - 1) / witnesses; by > 1 {
		few := out[:0]
		for i := 0; i < len(out); i += by {
			few = append(few, out[i])
		}
		out = few
	}
	return out
}

// step is how far a level lies from the one before it, or the first from the next, by
// the plan.
func (r *Run) step(n int) float64 {
	if n == 0 {
		n = min(1, len(r.plan.Levels)-1)
	}
	return math.Abs(r.plan.Levels[n].Reference - r.plan.Levels[max(n-1, 0)].Reference)
}

// says returns what the channels say of level n, in mmHg, by the levels other than it
// and one more; NaN where most cannot. Those that were come to from the same side tell
// best, and where they do not, the others do. Where the cuff has just turned, which is
// where a loop is entered, only another cycle tells.
func (r *Run) says(asked []int, n, without int) float64 {
	t := &r.taken[n]
	if n > 0 && r.taken[n-1].Direction != t.Direction && !slices.ContainsFunc(r.taken, func(o Taken) bool { return o.Cycle != t.Cycle && o.Direction == t.Direction }) {
		return math.NaN()
	}
	low, high := r.plan.span()
	return r.most(asked, func(i int) float64 {
		var same, all []figures.Row
		for k, o := range r.taken {
			if k == n || k == without || math.IsNaN(o.Raw[i]) {
				continue
			}
			row := figures.Row{Direction: o.Direction, Reference: o.Reference, Raw: o.Raw[i]}
			all = append(all, row)
			if o.Direction == t.Direction || r.plan.Levels[k].Reference == low || r.plan.Levels[k].Reference == high {
				same = append(same, row)
			}
		}
		if v := fit.Between(same, t.Raw[i]); !math.IsNaN(v) {
			return v
		}
		return fit.Between(all, t.Raw[i])
	})
}

// before is how many steps tell what a mmHg does to a channel; fewer than two do not,
// as many sensors hardly feel the first.
const before = 3

// goesOn returns where level n is, in mmHg, if its step did to the channels for every
// mmHg what the last ones before it did; NaN where most cannot tell.
func (r *Run) goesOn(asked []int, n int) float64 {
	first := n - 1
	for first > 0 && n-1-first < before && r.taken[first-1].Direction == r.taken[n].Direction {
		first--
	}
	if n < 3 || n-1-first < 2 || r.taken[n-1].Direction != r.taken[n].Direction {
		return math.NaN()
	}
	from, last := &r.taken[first], &r.taken[n-1]
	return r.most(asked, func(i int) float64 {
		slope := (last.Raw[i] - from.Raw[i]) / (last.Reference - from.Reference)
		if !(slope*r.windows[i].sense > 0) {
			return math.NaN()
		}
		return last.Reference + (r.taken[n].Raw[i]-last.Raw[i])/slope
	})
}

// most returns the median of what channels say; NaN unless more than half say something.
func (r *Run) most(asked []int, says func(channel int) float64) float64 {
	var all []float64
	for _, i := range asked {
		if v := says(i); !math.IsNaN(v) && !math.IsInf(v, 0) {
			all = append(all, v)
		}
	}
	if 2*len(all) <= len(asked) {
		return math.NaN()
	}
	return median(all)
}

// ErrKPa is returned for a pressure that looks as if it had been typed in kPa.
var ErrKPa = errors.New("it looks like kPa")

// inKPa says why a pressure that is typed for a level is none in mmHg: it is that which
// was planned, in kPa, and the channels do not say otherwise.
func (r *Run) inKPa(level int, typed float64) error {
	planned := r.plan.Levels[level].Reference
	if !fit.LooksLikeKPa(typed, planned) {
		return nil
	}
	if level < len(r.taken) {
		if says := r.says(r.witnesses(), level, level); math.Abs(says-typed) < math.Abs(says-typed*fit.PerKPa) {
			return nil
		}
	}
	return fmt.Errorf("%.4g where %.4g mmHg was planned: %w, and %.4g kPa is %.4g mmHg. Type %.4g kPa if that is what the gauge showed, or %.4g mmHg if it is that",
		typed, planned, ErrKPa, typed, math.Round(10*typed*fit.PerKPa)/10, typed, typed)
}
