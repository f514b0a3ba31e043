package protocol

import (
	"errors"
	"fmt"
	"math"

	"weald/ingest/calib/figures"
	"weald/ingest/calib/fit"
)

// An Outcome is what came of one channel. One of Result and Refused is set.
type Outcome struct {
	Channel int
	Rows    []figures.Row
	Options fit.Options
	Result  *fit.Result
	Refused fit.Refused
}

// missing is the share of levels that a channel may lack.
const missing = 0.25

// Outcomes fits every channel under the cuff, by the levels read so far. The noise
// of live readings is what the levels showed. An error is about the options.
func (r *Run) Outcomes(o fit.Options) ([]Outcome, error) {
	swapped := r.swapped()
	var out []Outcome
	for i, under := range r.plan.Under {
		if !under {
			continue
		}
		one := Outcome{Channel: i, Options: o}
		one.Options.Noise = r.noise(i)
		var unstable *fit.Refusal
		one.Rows, unstable = r.rows(i)
		if s, ok := swapped[i]; ok {
			one.Refused = append(one.Refused, s)
		}
		if all := len(r.rowsTaken()); float64(all-len(one.Rows)) > missing*float64(all) {
			if unstable == nil {
				unstable = &fit.Refusal{Reason: fmt.Sprintf("it was not heard at %d of %d pressures", all-len(one.Rows), all), Advice: "see to its connection, and calibrate again"}
			}
			one.Refused = append(one.Refused, *unstable)
		}
		if len(one.Refused) == 0 {
			var err error
			one.Result, err = fit.Fit(one.Rows, one.Options)
			if refused, ok := errors.AsType[fit.Refused](err); ok {
				one.Refused = refused
			} else if err != nil {
				return nil, fmt.Errorf("channel %d: %w", i, err)
			} else if err := r.learn(&one); err != nil {
				return nil, fmt.Errorf("channel %d: %w", i, err)
			}
		}
		out = append(out, one)
	}
	return out, nil
}

// learn takes creep from the pressure that was held, if one was to be, and fits what is
// corrected by it. Where it cannot be told, that is a remark.
func (r *Run) learn(o *Outcome) error {
	if r.plan.Hold == 0 {
		return nil
	}
	why := "no pressure was held"
	for _, h := range r.Holds() {
		switch {
		case h.Channel != o.Channel:
			continue
		case h.Touched:
			why = "the cuff was pumped while the pressure was held"
		case len(h.Ages) == 0 || h.Ages[len(h.Ages)-1] < 0.9*leastHold.Seconds():
			why = fmt.Sprintf("the pressure was not held for %v", leastHold)
		default:
			c, err := fit.CreepOf(o.Result, h.Ages, h.Raw, r.plan.Dwell)
			if err == nil {
				o.Options.Creep = &c
				o.Result, err = fit.Fit(o.Rows, o.Options)
				return err
			}
			why = err.Error()
		}
	}
	o.Result.Remarks = append(o.Result.Remarks, "creep was not learnt: "+why)
	return nil
}

// rows are the levels at which channel i settled; and why it did not at the
// worst of the others.
func (r *Run) rows(i int) (rows []figures.Row, unstable *fit.Refusal) {
	worst := 0.0
	for _, t := range r.rowsTaken() {
		if !math.IsNaN(t.Raw[i]) {
			rows = append(rows, figures.Row{Cycle: t.Cycle, Direction: t.Direction, Reference: t.Reference, Raw: t.Raw[i]})
		} else if d := math.Abs(t.Drift[i]); d > worst {
			if why := fit.Unstable(t.Reference, d, r.windows[i].most); why != nil {
				worst, unstable = d, why
			}
		}
	}
	return rows, unstable
}

// noise is the standard deviation of single readings of channel i, pooled over
// the levels.
func (r *Run) noise(i int) float64 {
	squares, n := 0.0, 0
	for _, t := range r.taken {
		if !math.IsNaN(t.Raw[i]) {
			squares += t.SD[i] * t.SD[i]
			n++
		}
	}
	if n == 0 {
		return 0
	}
	return math.Sqrt(squares / float64(n))
}

// swapped looks for channels under the cuff that do not follow it while others do
// that do not lie there. A channel that was not heard at a level stays where it
// was.
func (r *Run) swapped() map[int]fit.Refusal {
	var reference []float64
	readings := make([][]float64, len(r.windows))
	for _, t := range r.taken {
		reference = append(reference, t.Reference)
		for i, v := range t.Raw {
			if n := len(readings[i]); math.IsNaN(v) && n > 0 {
				v = readings[i][n-1]
			} else if math.IsNaN(v) {
				v = 0
			}
			readings[i] = append(readings[i], v)
		}
	}
	return fit.Swapped(reference, readings, r.plan.Under)
}
