package fit

import (
	"errors"
	"fmt"
	"math"
	"time"

	"weald/ingest/calib/curve"
)

// Creep returns the growth per decade of time of a channel under a pressure that
// was held: ages of the load and what an uncorrected calibration says at them,
// in mmHg. It asks for ages over a decade and a half at least; a shorter hold
// cannot tell creep from a leak.
//
// Dwell is the age at which the levels of the calibration were read.
func Creep(ages []time.Duration, mmHg []float64, dwell time.Duration) (curve.Creep, error) {
	decades := make([]float64, len(ages))
	low, high := math.Inf(1), math.Inf(-1)
	for i, a := range ages {
		decades[i] = math.Log10(1 + a.Seconds())
		low, high = min(low, decades[i]), max(high, decades[i])
	}
	if len(ages) < 5 || high-low < 1.5 {
		return curve.Creep{}, errors.New("the hold is too short to tell creep: hold one pressure for ten minutes, and read it from the first second on")
	}
	p, err := FitPolynomial(decades, mmHg, 1)
	if err != nil {
		return curve.Creep{}, err
	}
	if p.Coefficients[0] <= 0 {
		return curve.Creep{}, errors.New("the held pressure is none")
	}
	c := curve.Creep{
		PerDecade: p.Coefficients[1] / p.Coefficients[0],
		Dwell:     dwell.Seconds(),
		U:         p.StandardErrors[1] / p.Coefficients[0],
	}
	switch {
	case c.PerDecade < -leastFall && c.PerDecade < -2*c.U:
		return curve.Creep{}, fmt.Errorf("the held pressure fell by %.1f %% a decade of time: look for a leak, and hold it again", -100*c.PerDecade)
	case c.PerDecade > mostCreep:
		return curve.Creep{}, fmt.Errorf("the held pressure grew by %.0f %% a decade of time, which no creep does: keep off the cuff, and hold it again", 100*c.PerDecade)
	}
	return c, nil
}

// What grows by more a decade than twice the 15 % that is said to be the worst of thin
// force sensors (common practice, no source) is no creep, and what falls by more than
// gauge and scatter show is a leak.
const (
	mostCreep = 0.3
	leastFall = 0.01
)

// CreepOf returns the creep of a channel of which r is the calibration without any, from
// its counts under a pressure that was held, at ages of the load in s. Its errors are
// those of Creep.
func CreepOf(r *Result, ages, raw []float64, dwell time.Duration) (curve.Creep, error) {
	old, mmHg := make([]time.Duration, len(ages)), make([]float64, len(ages))
	for i, age := range ages {
		old[i] = time.Duration(age * float64(time.Second))
		mmHg[i] = float64(r.Calibration.Value(raw[i], curve.Loading, 0).MMHg)
	}
	return Creep(old, mmHg, dwell)
}
