package api

import (
	"errors"
	"math"
	"slices"

	"github.com/danielgtaylor/huma/v2"
)

// finite refuses what reads as a number and is none: a bound says nothing of NaN, and
// JSON cannot say it. In a body there is none; in an address there may be.
func finite(values ...float64) []error {
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return []error{errors.New("a number of the address is none: give digits")}
		}
	}
	return nil
}

// Resolve implements huma.Resolver.
func (in *predictionInput) Resolve(huma.Context) []error {
	return finite(slices.Concat(in.Girths, []float64{in.Newtons, in.Layers, in.WidthCM})...)
}

// Resolve implements huma.Resolver.
func (in *besideInput) Resolve(huma.Context) []error { return finite(in.Limit, in.DelayS) }
