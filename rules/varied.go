package rules

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"weald/ingest/sample"
	"weald/rules/expr"
	"weald/rules/hold"
)

// Errors of Vary.
var (
	ErrNoLimit   = errors.New("it has no limit that could be another one")
	ErrNotThere  = errors.New("it finds nothing to watch at this place")
	ErrUncertain = errors.New("it asks for a certainty, and how sure a reading was is not kept by the second")
)

// A Varied is how a rule with a limit judges one signal of one place, for whoever
// asks what another limit or another delay would have done.
type Varied struct {
	Rule         *Rule
	Signal, Unit string
	Subject      string

	// Peaks says that the rule judges cell by cell, and that Signal is the highest
	// of them: that is above the limit whenever any cell is, so that it raises no
	// later, and for what moves about it raises more.
	Peaks bool

	// Upper says which bound varies: the one that the signal must not be above,
	// or the one that it must not be below. Limit is where it stands now.
	Upper bool
	Limit float64

	Gate Gate
}

// Vary finds the signal of a rule at a place. Its errors are those above.
func (p *Place) Vary(r *Rule) (*Varied, error) {
	l := r.Limit
	if l == nil {
		return nil, fmt.Errorf("rule %s: %w", r.ID, ErrNoLimit)
	}
	t, ok := p.target(l.Watch)
	if !ok || !r.At.matches(p) {
		return nil, fmt.Errorf("rule %s: %w", r.ID, ErrNotThere)
	}
	if r.certainty() != hold.Half {
		return nil, fmt.Errorf("rule %s: %w", r.ID, ErrUncertain)
	}
	v := &Varied{Rule: r, Signal: l.Watch, Unit: t.unit, Subject: t.subject, Peaks: t.cells}
	if t.cells {
		v.Signal = t.subject + ".peak"
	}
	switch {
	case l.Above != nil:
		v.Upper, v.Limit = true, *l.Above
	case l.Below != nil:
		v.Limit = *l.Below
	default:
		v.Upper, v.Limit = true, l.Outside[1]
	}
	if v.Peaks && (!v.Upper || l.Outside != nil) {
		return nil, fmt.Errorf("rule %s judges cell by cell, of which only the highest is kept: %w", r.ID, ErrNoLimit)
	}
	v.Gate = p.gateOf(r.While)
	return v, nil
}

// Band is the rule's with another limit.
func (v *Varied) Band(limit float64) hold.Certain {
	l := *v.Rule.Limit
	switch {
	case l.Outside != nil:
		l.Outside = &[2]float64{l.Outside[0], limit}
	case v.Upper:
		l.Above = &limit
	default:
		l.Below = &limit
	}
	return v.Rule.band(&l)
}

// Possible reports whether a limit can stand beside the other bound.
func (v *Varied) Possible(limit float64) bool {
	o := v.Rule.Limit.Outside
	return o == nil || limit > o[0]
}

// Hold is the rule's with another on-delay.
func (v *Varied) Hold(delay time.Duration) hold.Spec {
	s := v.Rule.spec()
	s.OnDelay = delay
	return s
}

// A Gate is a rule's `while`, for whoever has values of a place's signals.
type Gate struct {
	Signals []string // that it asks for; none for a gate that is always open
	program *expr.Program
	slots   []int // of Signals
	truth   []bool
	values  []float64
	truths  []sample.Truth
}

func (p *Place) gateOf(while string) Gate {
	if while == "" {
		return Gate{}
	}
	all := p.allSignals()
	program := mustGate(while, all)
	g := Gate{program: program, values: make([]float64, len(all)), truths: make([]sample.Truth, len(all))}
	g.slots = slices.Concat(program.Values(), program.Truths())
	for i, s := range g.slots {
		g.Signals = append(g.Signals, all[s].Name)
		g.truth = append(g.truth, i >= len(program.Values()))
	}
	return g
}

// Open answers for values of its Signals, NaN unknown. What is yes or no may be a
// mean over a time: half of it is yes.
func (g *Gate) Open(values []float64) bool {
	if g.program == nil {
		return true
	}
	for i, s := range g.slots {
		if v := values[i]; g.truth[i] {
			g.truths[s] = sample.Maybe
			if v == v {
				g.truths[s] = sample.Of(v >= 0.5)
			}
		} else {
			g.values[s] = v
		}
	}
	return g.program.Eval(g.values, g.truths) == sample.Yes
}
