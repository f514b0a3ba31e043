package rules

import (
	"fmt"
	"slices"

	"weald/ingest/sample"
	"weald/rules/expr"
)

// A gate is a rule's `while`: time in which it is not open counts for nothing.
type gate struct {
	program *expr.Program // over the place's signals; nil for a rule without `while`
	open    bool
}

// set looks at the signals, which have just changed. A gate that is unknown is
// closed.
func (g *gate) set(p *place) {
	g.open = g.program == nil || g.program.Eval(p.gateValues()) == sample.Yes
}

// compileGate compiles a `while` over the signals of a place.
func compileGate(while string, signals []Signal) (*expr.Program, []expr.Problem) {
	names := make([]string, len(signals))
	for i := range signals {
		names[i] = signals[i].Name
	}
	slices.Sort(names)
	return expr.Compile(while, func(name string) (expr.Signal, bool) {
		i := slices.IndexFunc(signals, func(s Signal) bool { return s.Name == name })
		if i < 0 {
			return expr.Signal{}, false
		}
		if signals[i].Unit == Truths {
			return expr.Signal{Slot: i, Truth: true}, true
		}
		return expr.Signal{Slot: i, Unit: signals[i].Unit}, true
	}, names)
}

// mustGate compiles a `while` that Check has passed. It panics on any other.
func mustGate(while string, signals []Signal) *expr.Program {
	program, problems := compileGate(while, signals)
	if len(problems) > 0 {
		panic(fmt.Sprintf("rules: a plan that was not checked: while %q: %v", while, problems[0]))
	}
	return program
}

// gate compiles a rule's `while` for the place, and says on which feeds it
// rests. It panics on one that Check refuses.
func (p *place) gate(while string) (gate, []int) {
	if while == "" {
		return gate{open: true}, nil
	}
	program := mustGate(while, p.signals)
	return gate{program: program}, p.feedsOfProgram(program)
}

// feedsOfProgram returns the feeds that an expression rests on, with repetitions.
func (p *place) feedsOfProgram(program *expr.Program) (feeds []int) {
	for _, slot := range program.Values() {
		feeds = append(feeds, p.feedsOf(slot)...)
	}
	for _, slot := range program.Truths() {
		feeds = append(feeds, p.feedsOf(slot)...)
	}
	return feeds
}
