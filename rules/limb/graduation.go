package limb

import (
	"math"

	"weald/ingest/sample"
)

// Judgeable is the distal pressure in mmHg from which on graduation is judged;
// below it nothing is wrapped there that could be graduated (common practice,
// no source: wraps work from about 10 mmHg on).
const Judgeable = 5

// Residual is the residual pressure ratio, 100 × site / reference; NaN where
// either is unknown or the reference is not above zero.
func Residual(site, reference float64) float64 {
	if !(reference > 0) {
		return math.NaN()
	}
	return 100 * site / reference
}

// A Fault is what is wrong between two neighbouring sites.
type Fault string

// The faults of a graduation.
const (
	Fine     Fault = ""
	Lost     Fault = "lost"      // it falls less than asked
	Reversed Fault = "reversed"  // it rises toward the body
	TooSteep Fault = "too steep" // it falls more than asked
)

// A Grade is what is asked of two neighbouring sites. Zero asks nothing.
type Grade struct {
	Ratio    float64 // proximal is at most this share of distal
	Drop     float64 // and lies below it by at least this much, mmHg
	Steepest float64 // and is at least this share of distal
}

// exact is by how much rounding may move a comparison.
const exact = 1e-9

// Judge compares two neighbouring pressures in mmHg. The condition is unknown
// while either is, and No where distal is not judgeable.
func (g Grade) Judge(distal, proximal float64) (Fault, sample.Truth) {
	switch {
	case distal != distal || proximal != proximal:
		return Fine, sample.Maybe
	case distal < Judgeable:
		return Fine, sample.No
	}
	lost := g.Ratio > 0 && proximal > g.Ratio*distal+exact || g.Drop > 0 && distal-proximal < g.Drop-exact
	switch {
	case lost && proximal > distal:
		return Reversed, sample.Yes
	case lost:
		return Lost, sample.Yes
	case g.Steepest > 0 && proximal < g.Steepest*distal-exact:
		return TooSteep, sample.Yes
	}
	return Fine, sample.No
}
