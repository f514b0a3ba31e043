package edf

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// The range of a sample of 16 bits.
const (
	minDigital = math.MinInt16
	maxDigital = math.MaxInt16
)

// UnknownDigital is the sample that stands for "unknown" in files of this
// package.
const UnknownDigital = math.MinInt16

// UnknownRemark is what such files say in the prefiltering field.
const UnknownRemark = "-32768=unknown"

// A Scale is the straight line between samples and what they mean, given by
// two points of it. The physical ends may be in descending order: the signal
// is then upside down. Digital ends ascend.
type Scale struct {
	PhysicalMin, PhysicalMax float64 // in the signal's dimension
	DigitalMin, DigitalMax   int
}

// Step returns how far two neighbouring samples are apart, in the signal's
// dimension: the resolution. It is negative in a signal that is upside down.
func (s Scale) Step() float64 {
	return (s.PhysicalMax - s.PhysicalMin) / float64(s.DigitalMax-s.DigitalMin)
}

// Physical returns what the sample d means.
func (s Scale) Physical(d int) float64 {
	return s.PhysicalMin + float64(d-s.DigitalMin)*(s.PhysicalMax-s.PhysicalMin)/float64(s.DigitalMax-s.DigitalMin)
}

// Digital returns the sample nearest to v, which is UnknownDigital for NaN and
// never for anything else. Clipped says that v was outside what the scale can
// say and that the sample is the nearest end instead. Only scales from Fit
// leave room for an unknown.
func (s Scale) Digital(v float64) (d int16, clipped bool) {
	if v != v {
		return UnknownDigital, false
	}
	x := math.Round((v-s.PhysicalMin)/s.Step()) + float64(s.DigitalMin)
	lowest, highest := float64(s.DigitalMin+1), float64(s.DigitalMax-1)
	switch {
	case x < lowest:
		return int16(lowest), true
	case x > highest:
		return int16(highest), true
	}
	return int16(x), false
}

func (s Scale) check(lowest, highest int) error {
	switch {
	case s.DigitalMin >= s.DigitalMax:
		return fmt.Errorf("digital range %d to %d is not ascending", s.DigitalMin, s.DigitalMax)
	case s.DigitalMin < lowest || s.DigitalMax > highest:
		return fmt.Errorf("digital range %d to %d is not within %d to %d", s.DigitalMin, s.DigitalMax, lowest, highest)
	case s.PhysicalMin == s.PhysicalMax:
		return fmt.Errorf("physical range is empty: both ends are %v", s.PhysicalMin)
	case math.IsInf(s.PhysicalMax-s.PhysicalMin, 0) || s.PhysicalMax != s.PhysicalMax || s.PhysicalMin != s.PhysicalMin:
		return errors.New("physical range is not finite")
	}
	return nil
}

// ErrRange is wrapped by the error of Fit.
var ErrRange = errors.New("no physical range in eight characters holds it")

const (
	steps = maxDigital - minDigital // between the ends of a scale
	below = 15000                   // steps between the unknown and the lowest value
	grain = 1000                    // the physical minimum is a multiple of so many steps
)

// Fit returns a scale for values from lo to hi. Its step is 1, 2 or 5 times a
// power of ten, the smallest with which both ends of the scale are written
// exactly in the eight characters that the header has; zero is always inside;
// the lowest sample, the unknown, lies at least 15,000 steps below all values,
// and the highest is not used either, so that nothing is lost in a program that
// takes either end of the range for an overflow.
//
// Its error wraps ErrRange: the values are beyond about 50 million, or below
// about -2 million, where the sign takes one of the eight characters.
func Fit(lo, hi float64) (Scale, error) {
	lo, hi = min(lo, 0), max(hi, 0)
	if lo != lo || hi != hi || math.IsInf(hi-lo, 0) {
		return Scale{}, fmt.Errorf("values from %v to %v: %w", lo, hi, ErrRange)
	}
	for exponent := -6; exponent <= 3; exponent++ {
		for _, m := range []int64{1, 2, 5} {
			step := float64(m) * math.Pow10(exponent)
			if (hi-lo)/step > steps {
				continue
			}
			first := (int64(math.Floor(lo/step/grain))*grain - below) * m // in units of 10^exponent
			last := first + steps*m
			if float64(last-m)*math.Pow10(exponent) < hi {
				continue
			}
			from, to := decimal(first, exponent), decimal(last, exponent)
			if len(from) > 8 || len(to) > 8 {
				continue
			}
			s := Scale{DigitalMin: minDigital, DigitalMax: maxDigital}
			s.PhysicalMin, _ = strconv.ParseFloat(from, 64)
			s.PhysicalMax, _ = strconv.ParseFloat(to, 64)
			return s, nil
		}
	}
	return Scale{}, fmt.Errorf("values from %v to %v: %w", lo, hi, ErrRange)
}

// decimal returns n times ten to the exponent without a rounding error and
// without zeros at the end of its decimals.
func decimal(n int64, exponent int) string {
	if exponent >= 0 {
		return strconv.FormatInt(n*int64(math.Pow10(exponent)), 10)
	}
	sign, digits := "", strconv.FormatInt(n, 10)
	if n < 0 {
		sign, digits = "-", digits[1:]
	}
	for len(digits) <= -exponent {
		digits = "0" + digits
	}
	point := len(digits) + exponent
	s := strings.TrimRight(digits[:point]+"."+digits[point:], "0")
	return sign + strings.TrimSuffix(s, ".")
}
