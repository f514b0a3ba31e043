package trend

import (
	"math"
	"slices"
)

// Median returns the middle of xs, the mean of the two middle ones for an even
// number, and NaN for none. It sorts xs, which must have no NaN.
func Median(xs []float64) float64 {
	n := len(xs)
	if n == 0 {
		return math.NaN()
	}
	slices.Sort(xs)
	if n%2 == 1 {
		return xs[n/2]
	}
	return xs[n/2-1]/2 + xs[n/2]/2
}
