package expr

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/ingest/tried"
)

// The tables of the strong logic of three values (Kleene 1938; from memory), in the
// order yes, no, unknown.
var (
	kleeneAnd = [3][3]sample.Truth{
		{sample.Yes, sample.No, sample.Maybe}, {sample.No, sample.No, sample.No}, {sample.Maybe, sample.No, sample.Maybe},
	}
	kleeneOr = [3][3]sample.Truth{
		{sample.Yes, sample.Yes, sample.Yes}, {sample.Yes, sample.No, sample.Maybe}, {sample.Yes, sample.Maybe, sample.Maybe},
	}
	kleeneNot  = [3]sample.Truth{sample.No, sample.Yes, sample.Maybe}
	kleeneSame = [3][3]sample.Truth{
		{sample.Yes, sample.No, sample.Maybe}, {sample.No, sample.Yes, sample.Maybe}, {sample.Maybe, sample.Maybe, sample.Maybe},
	}
)

func TestTablesOfThreeValues(t *testing.T) {
	all := []sample.Truth{sample.Yes, sample.No, sample.Maybe}
	values, _ := readings()
	for i, a := range all {
		for k, b := range all {
			for text, want := range map[string]sample.Truth{
				"still and wrapped": kleeneAnd[i][k],
				"still or wrapped":  kleeneOr[i][k],
				"not still":         kleeneNot[i],
				"still == wrapped":  kleeneSame[i][k],
				"still != wrapped":  kleeneNot[map[sample.Truth]int{sample.Yes: 0, sample.No: 1, sample.Maybe: 2}[kleeneSame[i][k]]],
				"known(still)":      sample.Of(a != sample.Maybe),
			} {
				if got := compile(t, ward, text).Eval(values, []sample.Truth{a, b}); got != want {
					t.Errorf("%s of %v and %v: %v, want %v", text, a, b, got, want)
				}
			}
		}
	}
}

// What logic says is the same has the same answer, whatever is known: De Morgan, two
// negations, order, and what is distributed. Those that fail with unknowns, such as
// "a or not a" being true, are not among them.
func TestIdentities(t *testing.T) {
	seen := map[sample.Truth]int{}
	tried.Check(t, tried.Each(seen, 20, sample.No, sample.Maybe, sample.Yes), func(t *rapid.T) {
		g, x, _ := draw(t, true)
		y, z := g.condition(2), g.condition(2)
		a, b, c := "("+text(x)+")", "("+text(y)+")", "("+text(z)+")"
		values, truths := g.readings()
		eval := func(text string) (sample.Truth, bool) {
			program, _ := Compile(text, ward.resolve, ward.names)
			if program == nil {
				return 0, false // too long, or refused for a part of it
			}
			return program.Eval(values, truths), true
		}
		for _, same := range [][2]string{
			{"not (%[1]s and %[2]s)", "not %[1]s or not %[2]s"},
			{"not (%[1]s or %[2]s)", "not %[1]s and not %[2]s"},
			{"%[1]s", "not not %[1]s"},
			{"%[1]s and %[2]s", "%[2]s and %[1]s"},
			{"%[1]s or %[2]s", "%[2]s or %[1]s"},
			{"%[1]s and (%[2]s or %[3]s)", "%[1]s and %[2]s or %[1]s and %[3]s"},
			{"%[1]s or %[2]s and %[3]s", "(%[1]s or %[2]s) and (%[1]s or %[3]s)"},
			{"%[1]s and (%[1]s or %[2]s)", "%[1]s"},
			{"%[1]s == %[2]s", "(%[1]s and %[2]s) or (not %[1]s and not %[2]s)"},
			{"known(%[1]s)", "known(not %[1]s)"},
		} {
			// Each takes a, b and c, so that none is left over.
			left, right := fmt.Sprintf(same[0]+"%.0[1]s%.0[2]s%.0[3]s", a, b, c), fmt.Sprintf(same[1]+"%.0[1]s%.0[2]s%.0[3]s", a, b, c)
			one, ok := eval(left)
			other, also := eval(right)
			if !ok || !also {
				continue
			}
			if one != other {
				t.Fatalf("%s is %v, and %s is %v", left, one, right, other)
			}
			seen[one]++
		}
	})
}

// A comparison and its opposite, turned round or denied, never agree on what is known
// and are unknown together; at the limit itself only those with "=" hold.
func TestComparisons(t *testing.T) {
	for _, v := range []float64{29.999, 30, 30.001, math.NaN()} {
		values, truths := readings()
		values[ankle] = v
		eval := func(text string) sample.Truth { return compile(t, ward, text).Eval(values, truths) }
		more, less := sample.Of(v > 30), sample.Of(v < 30)
		if math.IsNaN(v) {
			more, less = sample.Maybe, sample.Maybe
		}
		for text, want := range map[string]sample.Truth{
			"ankle.pressure > 30": more, "30 < ankle.pressure": more, "not ankle.pressure <= 30": more, "not 30 >= ankle.pressure": more,
			"ankle.pressure < 30": less, "30 > ankle.pressure": less, "not ankle.pressure >= 30": less, "not 30 <= ankle.pressure": less,
			"-ankle.pressure < -30": more, "ankle.pressure - 30 mmHg > 0": more, "30 mmHg - ankle.pressure > 0": less,
		} {
			if got := eval(text); got != want {
				t.Errorf("%s at %v: %v, want %v", text, v, got, want)
			}
		}
	}
}

// Units by published factors: the mmHg is 133.322387415 Pa (13 595.1 kg/m³ ×
// 9.80665 m/s² × 1 mm), so that a kPa is 7.500615758; the others are exact by name.
// A millionth part below the limit is not above it, and one above it is.
func TestUnitsByPublishedFactors(t *testing.T) {
	for _, c := range []struct {
		signal string
		slot   int
		unit   string
		factor float64 // of the unit, in that of the signal
	}{
		{"ankle.pressure", ankle, "mmHg", 1},
		{"ankle.pressure", ankle, "kPa", 7.500615758},
		{"ankle.pressure", ankle, "Pa", 1 / 133.322387415},
		{"cuff.pressure", cuff, "mmHg", 0.133322387415},
		{"cuff.pressure", cuff, "Pa", 1e-3},
		{"hold.time", held, "ms", 1.0 / 60_000},
		{"hold.time", held, "s", 1.0 / 60},
		{"hold.time", held, "h", 60},
		{"mat.width", width, "cm", 10},
		{"mat.width", width, "m", 1000},
		{"mat.area", surface, "mm2", 0.01},
		{"mat.load", load, "N", 1},
		{"mat.share", share, "%", 0.01},
	} {
		for _, amount := range []float64{0.5, 1, 30, 12345} {
			program := compile(t, ward, fmt.Sprintf("%s > %v %s", c.signal, amount, c.unit))
			values, truths := readings()
			at := amount * c.factor
			for _, side := range []struct {
				v    float64
				want sample.Truth
			}{{at * (1 - 1e-6), sample.No}, {at * (1 + 1e-6), sample.Yes}, {math.NaN(), sample.Maybe}} {
				values[c.slot] = side.v
				if got := program.Eval(values, truths); got != side.want {
					t.Errorf("%s at %v: %v, want %v", program, side.v, got, side.want)
				}
			}
		}
	}
}
