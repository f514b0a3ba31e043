package exposure

import (
	"math"
	"time"

	"weald/ingest/sample"
)

// A Spec says how a dose grows and goes.
type Spec struct {
	Model *Model

	// Floor is the pressure in mmHg up to which nothing is used.
	Floor float64
	// ResetsAfter is how long the pressure must have been at or below the floor
	// for recovery to begin.
	ResetsAfter time.Duration
	// Recovery is the time constant of recovery; 0 recovers at once, Never not
	// at all.
	Recovery time.Duration
	// ForgetAfter is how long one unbroken silence may last before the dose is
	// forgotten, as held time is.
	ForgetAfter time.Duration
}

// Never as Spec.Recovery keeps a dose for good.
const Never = time.Duration(math.MaxInt64)

// A Dose is what has been used of a tolerance. The zero Dose has seen nothing.
type Dose struct {
	Used     float64       // E: 0 nothing, 1 all of it
	Unloaded time.Duration // for how long the pressure has been at or below the floor
	Silent   time.Duration // for how long it has been unknown without a break
}

// exact is how near to a share a dose has reached it; sums of products carry
// the rounding of binary arithmetic.
const exact = 1e-9

// Reached reports whether a dose has used share of the tolerance.
func (d *Dose) Reached(share float64) bool { return d.Used >= share-exact }

// Advance lets span pass at a constant pressure of p mmHg, NaN for unknown.
func (d *Dose) Advance(s *Spec, span time.Duration, p float64) {
	switch {
	case span == 0: // what lasts no time does nothing
	case p != p:
		if d.Silent > math.MaxInt64-span {
			span = math.MaxInt64 - d.Silent
		}
		if d.Silent += span; d.Silent >= s.ForgetAfter {
			d.Used, d.Unloaded = 0, 0
		}
	case p > s.Floor:
		d.Silent, d.Unloaded = 0, 0
		d.Used += s.Model.Rate(p) * span.Seconds()
	default:
		d.Silent = 0
		d.rest(s, span)
	}
}

// rest lets span pass without load.
func (d *Dose) rest(s *Spec, span time.Duration) {
	recovering := span - max(0, s.ResetsAfter-d.Unloaded)
	d.Unloaded += min(span, math.MaxInt64-d.Unloaded)
	switch {
	case recovering < 0 || s.Recovery == Never || d.Unloaded < s.ResetsAfter:
	case s.Recovery == 0:
		d.Used = 0
	default:
		d.Used *= math.Exp(-recovering.Seconds() / s.Recovery.Seconds())
	}
}

// Until returns how long the pressure must stay at p for the dose to reach
// share, or, where it has, to fall below it; false if that alone will never
// come to pass. It is at least a nanosecond, and after Advance by it the dose is
// on the other side.
func (d *Dose) Until(s *Spec, share, p float64) (time.Duration, bool) {
	reached := d.Reached(share)
	switch {
	case p != p:
		return 0, false
	case p > s.Floor:
		rate := s.Model.Rate(p)
		if reached || rate == 0 {
			return 0, false
		}
		return later((share - d.Used) / rate)
	case !reached || s.Recovery == Never || share <= exact:
		return 0, false
	}
	wait := max(0, s.ResetsAfter-d.Unloaded)
	if s.Recovery == 0 {
		return max(wait, 1), true
	}
	in, ok := later(s.Recovery.Seconds() * math.Log(d.Used/(share-2*exact)))
	return wait + in, ok
}

// later turns seconds into a duration that is no shorter.
func later(seconds float64) (time.Duration, bool) {
	if !(seconds < float64(1<<61)/1e9) {
		return 0, false
	}
	return max(1, time.Duration(math.Ceil(seconds*1e9))), true
}

// Beyond reports whether p, in mmHg, lies above the model's data.
func (s *Spec) Beyond(p float64) bool {
	if !(p > s.Floor) || sample.IsUnknown(p) {
		return false
	}
	_, where := s.Model.Tolerated(p)
	return where == Above
}
