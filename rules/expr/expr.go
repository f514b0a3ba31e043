package expr

import (
	"slices"

	"weald/ingest/sample"
)

// What one expression may cost. Parentheses nest but are not counted as nodes.
const (
	MaxNodes = 256
	MaxDepth = 32
)

// A Signal is what a name stands for.
type Signal struct {
	// Slot is the index of its value: in Eval's truths where Truth is set,
	// else in Eval's values.
	Slot int
	// Truth says that the signal is a condition and has no unit.
	Truth bool
	// Unit is one of the units of the language, "Hz", "mmHg/h" or "mmHg/cm", or
	// "1" for a plain number.
	Unit string
}

// A Resolver tells what a name stands for, or false where there is no such
// signal. It must answer the same each time.
type Resolver func(name string) (Signal, bool)

// A Program is a compiled expression. It never changes, so that any number of
// goroutines may evaluate it.
type Program struct {
	eval   truthFunc
	text   string
	values []int
	truths []int
}

// Compile compiles a condition. The names, which should be sorted, are only
// used to suggest one where text names a signal that does not exist.
//
// The Program is nil if there are problems. They come in the order of their
// columns, as many as can be found at once, but not without end.
func Compile(text string, resolve Resolver, names []string) (*Program, []Problem) {
	var ps problems
	root := parse(text, &ps)
	if root == nil {
		return nil, ps.sorted()
	}
	c := checker{resolve: resolve, names: names, problems: &ps}
	c.condition(root)
	if len(ps.list) > 0 {
		return nil, ps.sorted()
	}
	b := builder{problems: &ps}
	p := &Program{eval: b.truth(root), text: format(root)}
	if len(ps.list) > 0 {
		return nil, ps.sorted()
	}
	p.values, p.truths = slotsOf(c.values), slotsOf(c.truths)
	return p, nil
}

// slotsOf sorts s and drops repetitions.
func slotsOf(s []int) []int {
	slices.Sort(s)
	return slices.Compact(s)
}

// Eval answers the condition for the present values, NaN where unknown, each
// in the unit that the Resolver gave, and the present truths. Both must reach
// to the largest slot used, else Eval panics. It does not allocate.
func (p *Program) Eval(values []float64, truths []sample.Truth) sample.Truth {
	return p.eval(values, truths)
}

// Values returns the slots of values that the answer depends on, ascending,
// each once. The caller must not change them.
func (p *Program) Values() []int { return p.values }

// Truths returns the slots of truths that the answer depends on, ascending,
// each once. The caller must not change them.
func (p *Program) Truths() []int { return p.truths }

// String returns the canonical text, as Format does.
func (p *Program) String() string { return p.text }
