package rules

import "weald/ingest/sample"

// A gate is a rule's `while`: time in which it is not open counts for nothing.
type gate struct {
	// eval is nil for a rule without `while`. It is given the values of the
	// place's signals.
	eval func(values []float64) sample.Truth
	open bool
}

// set looks at the signals, which have just changed. A gate that is unknown is
// closed.
func (g *gate) set(p *place) {
	g.open = g.eval == nil || g.eval(p.gateValues()) == sample.Yes
}

// gate compiles a rule's `while` for the place, and says on which feeds it
// rests.
func (p *place) gate(while string) (gate, []int) {
	return gate{open: while == ""}, nil
}
