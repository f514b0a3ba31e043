package protocol

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"weald/ingest/calib/figures"
	"weald/ingest/calib/fit"
)

// A Level is one pressure to be reached.
type Level struct {
	Cycle     int               `json:"cycle"` // from 1
	Direction figures.Direction `json:"direction"`
	Reference float64           `json:"reference_mmhg"` // asked for, until the gauge says what it is
}

// Levels are the pressures from lowest to highest in steps, up and down again, as
// often as there are cycles. The highest is held once a cycle, as the end of the
// way up; so is the lowest, between two cycles, as the end of the way down.
func Levels(lowest, highest, step float64, cycles int) ([]Level, error) {
	switch {
	case !(lowest >= 0) || !(highest <= mostPressure) || !(lowest < highest):
		return nil, fmt.Errorf("pressures from %g to %g mmHg: want 0 to %d mmHg at most, going up", lowest, highest, mostPressure)
	case !(step >= 1):
		return nil, fmt.Errorf("a step of %g mmHg: want 1 mmHg at least", step)
	case cycles < 1 || cycles > mostCycles:
		return nil, fmt.Errorf("%d cycles: want 1 to %d", cycles, mostCycles)
	}
	if span := highest - lowest; span < fit.LeastSpan {
		hint := "go higher"
		if span*fit.PerKPa >= fit.LeastSpan {
			hint = fmt.Sprintf("if these are kPa, %.4g kPa is %.4g mmHg", highest, math.Round(10*highest*fit.PerKPa)/10)
		}
		return nil, fmt.Errorf("pressures from %.4g to %.4g mmHg: a calibration spans %d mmHg at least: %s", lowest, highest, fit.LeastSpan, hint)
	}
	n := int(math.Ceil((highest-lowest)/step - 1e-9))
	if n+1 < fit.FewestLevels {
		return nil, fmt.Errorf("steps of %g mmHg from %g to %g mmHg are %d levels: want %d at least: take smaller steps", step, lowest, highest, n+1, fit.FewestLevels)
	}
	at := func(i int) float64 { return min(highest, lowest+float64(i)*step) }
	var out []Level
	for cycle := 1; cycle <= cycles; cycle++ {
		first := 0
		if cycle > 1 {
			first = 1 // the last cycle ended there
		}
		for i := first; i <= n; i++ {
			out = append(out, Level{cycle, figures.Up, at(i)})
		}
		for i := n - 1; i >= 0; i-- {
			out = append(out, Level{cycle, figures.Down, at(i)})
		}
	}
	return out, nil
}

const (
	mostPressure = 300 // mmHg, what a cuff's gauge shows at most; common practice, no source
	mostCycles   = 10
	mostReadings = 1 << 20 // 24 bytes each: 500 pressures of 2,048 channels
)

// A Plan is what a run goes through.
type Plan struct {
	Levels []Level
	Under  []bool // one a channel: whether it lies under the cuff; what the others read tells swapped ones

	// Dwell is how long a pressure is held before it is read, and the age of the
	// load at each reading. A channel that has not settled when most have may take
	// twice as long again.
	Dwell time.Duration

	// Hold is how long the last level is held to learn creep; see Held. 0: there is no
	// such level.
	Hold time.Duration

	// Rate is how many scans a second the source sends, as far as is known; 0 where
	// it is not.
	Rate float64

	// Keyed waits at every level until somebody says that the pressure is there;
	// without it, a pressure that has moved away from the last one and settled is
	// the next.
	Keyed bool
}

// Check says why a plan cannot be followed.
func (p *Plan) Check() error {
	switch {
	case len(p.Levels) == 0:
		return errors.New("a calibration without pressures")
	case !slices.Contains(p.Under, true):
		return errors.New("a calibration without channels")
	case p.Dwell < 5*time.Second || p.Dwell > 10*time.Minute:
		return fmt.Errorf("a dwell of %v: want 5s to 10m", p.Dwell)
	case p.Hold != 0 && (p.Hold < leastHold || p.Hold > mostHold || p.Hold < 4*p.Dwell || len(p.Levels) < 2):
		return fmt.Errorf("a hold of %v: want none, or %v to %v, and four dwells at least", p.Hold, leastHold, mostHold)
	case len(p.Levels)*len(p.Under) > mostReadings:
		return fmt.Errorf("%d pressures of a source of %d channels are %d readings: want %d at most: take larger steps or fewer cycles", len(p.Levels), len(p.Under), len(p.Levels)*len(p.Under), mostReadings)
	}
	if least := leastDwell(p.Rate); p.Rate > 0 && p.Dwell < least {
		if least > 10*time.Minute {
			return fmt.Errorf("the source sends %.3g a second, which is too seldom to be calibrated live: fit a table that was written down", p.Rate)
		}
		return fmt.Errorf("a dwell of %v: the source sends %.3g a second, and half of a dwell has to hold %d readings: hold each pressure for %v at least", p.Dwell, p.Rate, leastSeen, least)
	}
	return nil
}

// leastDwell is the shortest dwell, in whole seconds, at which a source of so many
// scans a second can be told to have settled: one in ten may be missing.
func leastDwell(rate float64) time.Duration {
	return time.Duration(math.Ceil(2*leastSeen/(0.9*rate))) * time.Second
}

// patience is for how much longer a channel is waited for that has not settled
// when most have. Common practice, no source.
func (p *Plan) patience() time.Duration { return 2 * p.Dwell }

// span returns the lowest and the highest pressure of the plan.
func (p *Plan) span() (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, l := range p.Levels {
		low, high = min(low, l.Reference), max(high, l.Reference)
	}
	return low, high
}
