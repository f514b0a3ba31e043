package curve

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// An Uncertainty is the budget of a calibration: standard uncertainties in
// mmHg, which depend on the pressure as straight lines between At.
type Uncertainty struct {
	At []float64 `json:"at_mmhg"` // increasing; beyond its ends the ends count

	Fit           []float64 `json:"fit"`           // what the curve leaves of the level means, and its coefficients' own doubt
	Hysteresis    []float64 `json:"hysteresis"`    // where one curve serves both directions; else the distance between the curves is used
	Repeatability []float64 `json:"repeatability"` // same pressure, same direction, another cycle; and the noise of a reading

	DriftPerDay float64 `json:"drift_per_day"` // times the age of the calibration
	Reference   float64 `json:"reference"`     // the gauge: the shared part
}

// at interpolates the three tables at a pressure.
func (u *Uncertainty) at(p float64) (fit, hysteresis, repeatability float64) {
	if p != p {
		return p, p, p
	}
	i, exact := slices.BinarySearch(u.At, p)
	switch {
	case exact || i == 0:
		return u.Fit[i], u.Hysteresis[i], u.Repeatability[i]
	case i == len(u.At):
		return u.Fit[i-1], u.Hysteresis[i-1], u.Repeatability[i-1]
	}
	w := (p - u.At[i-1]) / (u.At[i] - u.At[i-1])
	mix := func(t []float64) float64 { return float64((1-w)*t[i-1]) + float64(w*t[i]) }
	return mix(u.Fit), mix(u.Hysteresis), mix(u.Repeatability)
}

func (u *Uncertainty) check() error {
	if len(u.At) == 0 {
		return errors.New("uncertainty is stated at no pressure")
	}
	for i := 1; i < len(u.At); i++ {
		if !(u.At[i] > u.At[i-1]) {
			return errors.New("pressures of the uncertainty do not increase")
		}
	}
	for i, t := range [][]float64{u.Fit, u.Hysteresis, u.Repeatability} {
		name := [...]string{"fit", "hysteresis", "repeatability"}[i]
		if len(t) != len(u.At) {
			return fmt.Errorf("uncertainty of %s has %d entries for %d pressures", name, len(t), len(u.At))
		}
		if slices.ContainsFunc(t, func(v float64) bool { return !(v >= 0) || math.IsInf(v, 0) }) {
			return fmt.Errorf("uncertainty of %s is negative or not finite", name)
		}
	}
	if !(u.DriftPerDay >= 0) || !(u.Reference >= 0) || math.IsInf(u.DriftPerDay+u.Reference, 0) {
		return errors.New("uncertainty of drift or reference is negative or not finite")
	}
	return nil
}
