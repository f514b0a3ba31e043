package expr

import (
	"math"
	"math/big"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/ingest/tried"
)

// names lists the signals of a tree, those that are numbers and those that are conditions.
func (t *tree) names(numbers, truths *[]int) {
	switch t.op {
	case "signal":
		*numbers = append(*numbers, ward.signals[t.name].Slot)
	case "truth":
		*truths = append(*truths, ward.signals[t.name].Slot)
	}
	for _, a := range t.args {
		a.names(numbers, truths)
	}
}

// The slots of a program are those of the signals in its text, ascending, each once.
func TestSlotsAreThoseOfTheText(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		_, tree, program := draw(t, true)
		var numbers, truths []int
		tree.names(&numbers, &truths)
		slices.Sort(numbers)
		slices.Sort(truths)
		if !slices.Equal(program.Values(), slices.Compact(numbers)) || !slices.Equal(program.Truths(), slices.Compact(truths)) {
			t.Fatalf("%s: %v and %v, want %v and %v", program, program.Values(), program.Truths(), numbers, truths)
		}
	})
}

// An infinity that is handed in is as good as no reading, wherever it stands.
func TestAnInfinityIsNoReading(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g, _, program := draw(t, true)
		values, truths := g.readings()
		endless := slices.Clone(values)
		for i, v := range values {
			if math.IsNaN(v) {
				endless[i] = rapid.SampledFrom([]float64{math.Inf(1), math.Inf(-1)}).Draw(t, "infinity")
			}
		}
		if got, want := program.Eval(endless, truths), program.Eval(values, truths); got != want {
			t.Fatalf("%s of %v: %v, want %v", program, endless, got, want)
		}
	})
}

// Readings as large and as small as there are never make a program panic or answer with
// what is no truth, and it does not allocate for any of them.
func TestReadingsOfAnySize(t *testing.T) {
	huge := rapid.OneOf(rapid.Float64(), rapid.SampledFrom([]float64{math.MaxFloat64, -math.MaxFloat64, math.SmallestNonzeroFloat64, math.Copysign(0, -1), math.Inf(1), math.NaN()}))
	rapid.Check(t, func(t *rapid.T) {
		_, _, program := draw(t, true)
		values, truths := rapid.SliceOfN(huge, numbers, numbers).Draw(t, "values"), []sample.Truth{sample.Yes, sample.Maybe}
		if got := program.Eval(values, truths); got < sample.No || got > sample.Yes {
			t.Fatalf("%s of %v: %d", program, values, got)
		}
		if n := testing.AllocsPerRun(3, func() { answer = program.Eval(values, truths) }); n != 0 {
			t.Fatalf("%s: %v allocations", program, n)
		}
	})
}

// What is not handed in is a mistake of the program around, and no reading that is unknown.
func TestEvalOfTooLittlePanics(t *testing.T) {
	for text, args := range map[string]struct {
		values []float64
		truths []sample.Truth
	}{
		"calf.pressure > 3":                  {make([]float64, calf), nil},
		"ankle.pressure - calf.pressure > 3": {make([]float64, calf), nil},
		"wrapped":                            {make([]float64, numbers), make([]sample.Truth, 1)},
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%s of %d numbers and %d truths has an answer", text, len(args.values), len(args.truths))
				}
			}()
			compile(t, ward, text).Eval(args.values, args.truths)
		}()
	}
}

// Of two numbers that are known one is the smaller, the other, or neither; and what is
// denied of a comparison is its opposite. Of numbers that are not known nothing is.
func TestOrderIsWhole(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := &generator{t, false}
		d := pick(g, "dimension", dims...)
		a, b := text(g.number(d, 2)), text(g.number(d, 2))
		values, truths := g.readings()
		is := map[string]sample.Truth{}
		for _, op := range []string{"<", "<=", ">", ">="} {
			program, _ := Compile(a+" "+op+" "+b, ward.resolve, ward.names)
			if program == nil {
				t.Skip("refused")
			}
			is[op] = program.Eval(values, truths)
		}
		if is["<"] != is[">="].Not() || is[">"] != is["<="].Not() || is["<"].And(is[">"]) == sample.Yes {
			t.Fatalf("%s and %s: %v", a, b, is)
		}
		if unknown := is["<"] == sample.Maybe; unknown != (is[">"] == sample.Maybe) {
			t.Fatalf("%s and %s: %v", a, b, is)
		}
	})
}

// bare says that a number in a tree takes its unit from the signal that it stands beside.
func (t *tree) bare() bool { return t.name == "bare" || slices.ContainsFunc(t.args, (*tree).bare) }

// In what unit a signal comes does not matter to an expression that writes its units: with
// each signal in another unit of its kind, and its reading converted, the answer is the
// same, except where rounding decides.
func TestUnitsOfSignalsDoNotMatter(t *testing.T) {
	decided := 0
	tried.Check(t, tried.Count(&decided, 10), func(t *rapid.T) {
		g, tree, program := draw(t, true)
		if tree.bare() {
			t.Skip("a number without a unit")
		}
		values, truths := g.readings()
		s := slow{values: values, truths: truths}
		if s.truth(tree); s.open {
			t.Skip("rounding decides")
		}
		other := place{signals: map[string]Signal{}, names: ward.names}
		converted := slices.Clone(values)
		for _, name := range ward.names { // in order, so that what is drawn can be drawn again
			signal := ward.signals[name]
			other.signals[name] = signal
			if unit := unitOfSignal(signal.Unit); !signal.Truth && unit != nil && unit.dim != plain && len(unitsOf[unit.dim]) > 0 {
				to := pick(g, "unit", unitsOf[unit.dim]...)
				factor, _ := new(big.Rat).Quo(si[signal.Unit], si[to]).Float64()
				converted[signal.Slot] = values[signal.Slot] * factor
				other.signals[name] = Signal{Slot: signal.Slot, Unit: to}
			}
		}
		again, problems := Compile(text(tree), other.resolve, other.names)
		if again == nil {
			t.Fatalf("%s with %v: %v", program, other.signals, problems)
		}
		if got, want := again.Eval(converted, truths), program.Eval(values, truths); got != want {
			t.Fatalf("%s of %v: %v; with %v of %v: %v", program, values, want, other.signals, converted, got)
		}
		decided++
	})
}

func drawDim(t *rapid.T, name string) dim {
	n := rapid.IntRange(-3, 3)
	return dim{n.Draw(t, name+" pressure"), n.Draw(t, name+" length"), n.Draw(t, name+" time")}
}

// Kinds of quantity multiply as numbers do: in any order, with a plain number changing
// nothing, and undone by division; and no two kinds have the same words.
func TestKindsMultiply(t *testing.T) {
	words := map[string]dim{}
	rapid.Check(t, func(t *rapid.T) {
		a, b, c := drawDim(t, "a"), drawDim(t, "b"), drawDim(t, "c")
		if a.times(b) != b.times(a) || a.times(b).times(c) != a.times(b.times(c)) || a.times(plain) != a || a.times(b).over(b) != a || a.over(a) != plain {
			t.Fatalf("%+v, %+v, %+v", a, b, c)
		}
		for _, d := range []dim{a, b, c} {
			if was, ok := words[d.String()]; ok && was != d {
				t.Fatalf("%+v and %+v are both called %q", was, d, d)
			}
			if words[d.String()] = d; strings.Contains(d.String(), "  ") || strings.HasSuffix(d.String(), " ") {
				t.Fatalf("%+v is called %q", d, d)
			}
		}
	})
	// A force over an area is a pressure, and rates are told as such.
	for want, got := range map[string]dim{
		"a pressure": force.over(area), "an area": length.times(length), "a plain number": duration.over(duration),
		"a quantity of pressure / time": pressure.over(duration), "a quantity of 1 / time": plain.over(duration), "a quantity of pressure × time^2": pressure.times(duration).times(duration),
	} {
		if got.String() != want {
			t.Errorf("%+v is called %q, want %q", got, got, want)
		}
	}
}
