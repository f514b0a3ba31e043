package compression_test

import (
	"math"
	"testing"

	"weald/ingest/near"
	"weald/rules/compression"
)

// The equation of Thomas S., World Wide Wounds, June 2003, with its rounded constant
// of 4620 (from memory) worked by hand: kgf, layers, girth and width in cm, mmHg.
var thomas = []struct{ kgf, layers, girth, width, mmHg float64 }{
	{0.5, 2, 22, 10, 21.000},
	{0.5, 2, 25, 10, 18.480},
	{0.5, 2, 30, 10, 15.400},
	{0.5, 2, 35, 10, 13.200},
	{0.5, 2, 40, 10, 11.550},
	{0.5, 1, 25, 10, 9.240},
	{0.5, 3, 25, 10, 27.720},
	{0.5, 2, 25, 7.5, 24.640},
	{1.0, 2, 25, 10, 36.960},
}

func TestLaplace(t *testing.T) {
	const unrounded = 4621.654 / 4620 // 2π × 9.80665 / 0.0001 / 133.322387415 = 4621.654
	for _, c := range thomas {
		w := compression.Wrapping{Newtons: c.kgf * compression.Gravity, Layers: c.layers, WidthCM: c.width}
		got := w.Pressure(c.girth)
		near.To(t, "pressure as published", got, c.mmHg, 0.0004*c.mmHg)
		near.To(t, "pressure, constant not rounded", got, c.mmHg*unrounded, 1e-5)
		near.To(t, "and back", w.Pull(got, c.girth), w.Newtons, 1e-12)
	}
	// 40 mmHg, two layers, 25 cm, 10 cm wide: 1.08225 kgf by the rounded constant.
	w := compression.Wrapping{Layers: 2, WidthCM: 10}
	near.To(t, "pull for 40 mmHg", w.Pull(40, 25)/compression.Gravity, 1.08225, 0.0005)
	// 3 N/cm in one layer is a load at which textiles are tested (Textile Res J 2019,
	// 10.1177/0040517519833969); the pressures are worked by hand.
	for girth, mmHg := range map[float64]float64{20: 70.69, 22: 64.27, 25: 56.55, 30: 47.13, 36: 39.27} {
		near.To(t, "3 N/cm", compression.Wrapping{Newtons: 30, Layers: 1, WidthCM: 10}.Pressure(girth), mmHg, 0.005)
	}
}

func TestLaplaceOfWhatIsNotKnown(t *testing.T) {
	whole := compression.Wrapping{Newtons: 5, Layers: 2, WidthCM: 10}
	for _, w := range []compression.Wrapping{{}, {Layers: 2, WidthCM: 10}, {Newtons: 5, WidthCM: 10}, {Newtons: 5, Layers: 2}, {Newtons: -5, Layers: 2, WidthCM: 10}} {
		if v := w.Pressure(25); !math.IsNaN(v) {
			t.Errorf("%+v predicts %v", w, v)
		}
	}
	for _, girth := range []float64{0, -3, math.NaN()} {
		if v := whole.Pressure(girth); !math.IsNaN(v) {
			t.Errorf("a girth of %v predicts %v", girth, v)
		}
	}
}
