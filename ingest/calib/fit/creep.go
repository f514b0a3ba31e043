package fit

import (
	"errors"
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
	return curve.Creep{
		PerDecade: p.Coefficients[1] / p.Coefficients[0],
		Dwell:     dwell.Seconds(),
		U:         p.StandardErrors[1] / p.Coefficients[0],
	}, nil
}
