package calib

import (
	"errors"
	"math"
)

// A Unit says what the readings of a source are.
type Unit uint8

// The units. The zero value is the one that claims less.
const (
	Counts Unit = iota // numbers that mean nothing without a calibration
	MMHg               // pressure already
)

// String returns the unit as the configuration spells it.
func (u Unit) String() string {
	if u == MMHg {
		return "mmHg"
	}
	return "counts"
}

// A Line is the calibration of one channel: mmHg = Offset + Slope*count.
type Line struct {
	Slope  float64 // mmHg per count; negative where counts fall as pressure rises
	Offset float64 // mmHg at count zero
	U      float64 // standard uncertainty in mmHg; NaN where none is stated
}

// None is the line of a channel that has no calibration: whatever it delivers,
// its pressure is unknown.
var None = Line{Slope: math.NaN(), Offset: math.NaN(), U: math.NaN()}

// IsNone reports whether l gives no pressure.
func (l Line) IsNone() bool { return l.Slope != l.Slope || l.Offset != l.Offset }

// At returns the pressure in mmHg at a count; NaN for a NaN count or for None.
func (l Line) At(count float64) float64 {
	// The conversion keeps the product from being fused into the sum: with it,
	// every processor gives the same last bit and so the same alerts.
	return float64(l.Slope*count) + l.Offset
}

// Check says why l cannot be a calibration. None passes.
func (l Line) Check() error {
	switch {
	case l.IsNone():
		return nil
	case math.IsInf(l.Slope, 0) || math.IsInf(l.Offset, 0):
		return errors.New("calibration is not finite")
	case l.Slope == 0:
		return errors.New("calibration has slope 0, so that every count would be the same pressure")
	case l.U < 0 || math.IsInf(l.U, 0):
		return errors.New("calibration has an uncertainty that is negative or not finite")
	}
	return nil
}
