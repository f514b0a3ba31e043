package curve

import (
	"errors"
	"fmt"
	"math"
	"time"

	"weald/ingest/sample"
)

// Version is the version of the encoding of a Calibration.
const Version = 1

// A Range is from Low to High, both within.
type Range struct {
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// Has reports whether v is within r.
func (r Range) Has(v float64) bool { return r.Low <= v && v <= r.High }

// Span is the width of r.
func (r Range) Span() float64 { return r.High - r.Low }

// beyond returns how far v is outside r, as a share of its span.
func (r Range) beyond(v float64) float64 {
	return max(r.Low-v, v-r.High, 0) / r.Span()
}

// A Calibration is what turns the counts of one channel into pressure. It is
// not changed once made.
type Calibration struct {
	Version int `json:"version"`

	// Loading serves rising pressure, or every pressure where Unloading is nil.
	Loading   Curve  `json:"loading"`
	Unloading *Curve `json:"unloading,omitempty"`

	// Width is how far the pressure must turn back, in mmHg, before the
	// direction of motion is another: above the noise, below a step.
	Width float64 `json:"width_mmhg"`

	Raw  Range `json:"raw"`  // counts seen while calibrating; outside is extrapolated
	MMHg Range `json:"mmhg"` // reference pressures applied while calibrating

	U     Uncertainty `json:"u"`
	Creep *Creep      `json:"creep,omitempty"` // nil: no correction by age of load
}

// A Value is a pressure with what it can be trusted for.
type Value struct {
	MMHg         sample.MMHg
	Independent  float64 // standard uncertainty of this channel alone, mmHg
	Shared       float64 // standard uncertainty common to all of the same reference, mmHg
	Extrapolated bool    // outside the calibrated range of counts
}

// U is the combined standard uncertainty in mmHg.
func (v Value) U() float64 { return math.Hypot(v.Independent, v.Shared) }

// At returns the pressure at a count, without regard to motion, and its
// combined standard uncertainty just after calibrating, in mmHg.
func (c *Calibration) At(raw float64) (sample.MMHg, float64) {
	v := c.Value(raw, Still, 0)
	return v.MMHg, v.U()
}

// Value returns the pressure at a count that was reached in direction d, when
// the calibration is as old as age. It is not corrected for creep: see
// Creep.Correct. For a NaN count everything is NaN.
func (c *Calibration) Value(raw float64, d Direction, age time.Duration) Value {
	if raw != raw {
		return Value{MMHg: sample.MMHg(raw), Independent: raw, Shared: raw}
	}
	p, gap := c.pressure(raw, d)
	fit, hysteresis, repeatability := c.U.at(p)
	beyond := c.Raw.beyond(raw)
	fit *= 1 + 2*beyond
	if c.Unloading != nil {
		hysteresis = unknownSide * gap
		if d != Still {
			hysteresis /= 2
		}
	}
	drift := c.U.DriftPerDay * max(age.Hours()/24, 0)
	return Value{
		MMHg:         sample.MMHg(p),
		Independent:  math.Sqrt(fit*fit + hysteresis*hysteresis + repeatability*repeatability + drift*drift),
		Shared:       c.U.Reference,
		Extrapolated: beyond > 0,
	}
}

// unknownSide makes a standard uncertainty of the width of a loop of which it
// is not known on which side the value is (JCGM 100, F.2.2.2: 1/sqrt(12)).
const unknownSide = 0.28867513459481287

// pressure returns the pressure and the distance between the two curves.
func (c *Calibration) pressure(raw float64, d Direction) (p, gap float64) {
	up := c.Loading.At(raw)
	if c.Unloading == nil {
		return up, 0
	}
	down := c.Unloading.At(raw)
	switch gap = math.Abs(up - down); d {
	case Loading:
		return up, gap
	case Unloading:
		return down, gap
	}
	return (up + down) / 2, gap
}

// Check says why c cannot be used.
func (c *Calibration) Check() error {
	switch {
	case c.Version != Version:
		return fmt.Errorf("calibration is of version %d, this program knows %d", c.Version, Version)
	case c.Loading.model == "" || c.Unloading != nil && c.Unloading.model == "":
		return errors.New("calibration has no curve")
	case !(c.Raw.Span() > 0) || !(c.MMHg.Span() > 0):
		return errors.New("calibration has an empty range")
	case !(c.Width >= 0):
		return errors.New("calibration has a negative width")
	case c.Creep != nil && !(c.Creep.Dwell >= 0 && math.Abs(c.Creep.PerDecade) < 0.5):
		return errors.New("calibration has a creep that is none")
	}
	return c.U.check()
}

// Inverse returns the count at which the loading curve says p, in mmHg, by halving;
// beyond the calibrated range, its nearer end.
func (c *Calibration) Inverse(p float64) float64 {
	low, high := c.Raw.Low, c.Raw.High
	if c.Loading.At(low) > c.Loading.At(high) {
		low, high = high, low
	}
	for range 60 {
		if middle := (low + high) / 2; c.Loading.At(middle) < p {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2
}
