package trend

import (
	"math"
	"time"

	"weald/ingest/sample"
)

// A Butterworth is a low-pass filter of second order for readings on an even
// clock. A filtered peak can be higher than the raw one, by 5 % after a step:
// whoever compares it with a limit says that it is filtered.
type Butterworth struct {
	B [3]float64 // of the input, newest first
	A [2]float64 // of the former outputs, newest first; the first coefficient is 1

	x, y [2]float64
}

// NewButterworth returns the filter with the cut-off at ratio times the rate of
// readings, 0 < ratio < 0.5, by the bilinear transform with pre-warping.
func NewButterworth(ratio float64) *Butterworth {
	w := math.Tan(math.Pi * ratio)
	n := 1 / (1 + math.Sqrt2*w + w*w)
	b := w * w * n
	return &Butterworth{B: [3]float64{b, 2 * b, b}, A: [2]float64{2 * (w*w - 1) * n, (1 - math.Sqrt2*w + w*w) * n}}
}

// Next filters one reading, which must be known. The filter begins at rest at
// zero; Settle begins it elsewhere.
func (f *Butterworth) Next(x float64) float64 {
	y := f.B[0]*x + f.B[1]*f.x[0] + f.B[2]*f.x[1] - f.A[0]*f.y[0] - f.A[1]*f.y[1]
	f.x[1], f.x[0] = f.x[0], x
	f.y[1], f.y[0] = f.y[0], y
	return y
}

// Settle puts the filter into the state that it has after v for ever.
func (f *Butterworth) Settle(v float64) { f.x, f.y = [2]float64{v, v}, [2]float64{v, v} }

// EWMA is the exponentially weighted moving average of readings on an even
// clock: the next one after was, with the weight lambda of the new reading.
func EWMA(was, lambda, x float64) float64 { return lambda*x + (1-lambda)*was }

// A Smoother is a first-order low-pass for an uneven clock. The zero Smoother
// has seen nothing; its time constant must be set.
type Smoother struct {
	Tau time.Duration

	value float64
	at    sample.Instant
	any   bool
}

// Weight is that of a reading which comes dt after the one before it.
func (s *Smoother) Weight(dt time.Duration) float64 {
	return -math.Expm1(-dt.Seconds() / s.Tau.Seconds())
}

// Next takes a reading and returns the smoothed value. NaN leaves it as it was.
func (s *Smoother) Next(at sample.Instant, v float64) float64 {
	switch {
	case v != v:
	case !s.any:
		s.value, s.at, s.any = v, at, true
	default:
		s.value = EWMA(s.value, s.Weight(at.Sub(s.at)), v)
		s.at = at
	}
	if !s.any {
		return math.NaN()
	}
	return s.value
}

// Integral returns the integral of straight lines between readings over time,
// in the readings' unit times seconds. A pair with an unknown end adds nothing,
// and known is the time that was not left out so.
func Integral(at []sample.Instant, v []float64) (integral float64, known time.Duration) {
	for i := 1; i < len(at); i++ {
		if area := (v[i-1] + v[i]) / 2 * at[i].Sub(at[i-1]).Seconds(); area == area {
			integral += area
			known += at[i].Sub(at[i-1])
		}
	}
	return integral, known
}
