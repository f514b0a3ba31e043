package curve

import (
	"math"
	"time"

	"weald/ingest/sample"
)

// A Creep is the growth of a reading under a load that stays, with the
// logarithm of time: y(t) = y0 (1 + c log10(1 + t/1 s)). The form without the
// singularity at 0 is common in work on force-sensing resistors; it has no one
// source.
type Creep struct {
	PerDecade float64 `json:"per_decade"` // c: a share of the reading per decade of time
	Dwell     float64 `json:"dwell_s"`    // age of the load, in s, at which the levels were read: there nothing is corrected
	U         float64 `json:"u"`          // standard uncertainty of PerDecade
}

// Factor returns by what a reading is too large under a load of the given age,
// against one of the age at which the channel was calibrated.
func (c Creep) Factor(age time.Duration) float64 {
	grown := func(s float64) float64 { return 1 + c.PerDecade*math.Log10(1+max(s, 0)) }
	return grown(age.Seconds()) / grown(c.Dwell)
}

// Correct returns v as it would read at the age of load of the calibration.
// The doubt about the creep itself is added to the independent part.
func (c Creep) Correct(v Value, age time.Duration) Value {
	decades := math.Log10(1+max(age.Seconds(), 0)) - math.Log10(1+c.Dwell)
	v.MMHg /= sample.MMHg(c.Factor(age))
	v.Independent = math.Hypot(v.Independent, float64(v.MMHg)*c.U*decades)
	return v
}
