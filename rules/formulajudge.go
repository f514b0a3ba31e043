package rules

import (
	"math"
	"slices"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/rules/expr"
	"weald/rules/state"
)

// A formulaJudge judges an expression over the place's signals.
type formulaJudge struct {
	still
	program *expr.Program
	subject string
	signals []int // that it speaks of
	is      sample.Truth
	unheard bool // it is so where nothing is known, as "not known(ankle.pressure)" is
}

func newFormulaJudge(p *place, program *expr.Program) *formulaJudge {
	j := &formulaJudge{program: program, subject: p.spec.whole(), signals: slotsOf(program)}
	nothing := slices.Repeat([]float64{sample.Unknown}, len(p.signals))
	j.unheard = program.Eval(nothing, make([]sample.Truth, len(p.signals))) == sample.Yes
	return j
}

func (j *formulaJudge) look(p *place) { j.is = j.program.Eval(p.gateValues()) }

func (j *formulaJudge) condition(p *place) (sample.Truth, bool) {
	if j.is != sample.Maybe {
		return j.is, false
	}
	for _, s := range j.signals {
		if s < p.basic && sample.IsUnknown(p.signals[s].Value) {
			return j.is, false
		}
	}
	return j.is, p.lasting() != sample.Never
}

func (j *formulaJudge) waits(p *place) string {
	for _, s := range j.signals {
		if sample.IsUnknown(p.signals[s].Value) {
			return p.signals[s].Name + " is not known"
		}
	}
	return "its answer is not a number"
}

func (j *formulaJudge) measured(p *place, e *alert.Event) {
	e.Signal, e.Unit, e.Value, e.U, e.Limit = "formula", Truths, truthValue(j.is), sample.Unknown, sample.Unknown
}

// mostSaid is how many signals a formula's sentence gives the values of.
const mostSaid = 6

func (j *formulaJudge) words(p *place, _ *alert.Event) said {
	reading := ""
	for n, i := range j.signals {
		if n == mostSaid {
			reading += " and more"
			break
		}
		if n > 0 {
			reading += ", "
		}
		s := &p.signals[i]
		switch {
		case sample.IsUnknown(s.Value):
			reading += s.Name + " unknown"
		case s.Unit == Truths && s.Value != 0:
			reading += s.Name
		case s.Unit == Truths:
			reading += "not " + s.Name
		default:
			reading += s.Name + " " + Quantity(s.Value, s.U, s.Unit, math.NaN())
		}
	}
	return said{subject: spoken(j.subject), is: "as the rule says (" + j.program.String() + ")", asked: j.program.String(), reading: reading}
}

// Code implements state.Coder.
func (j *formulaJudge) Code(c *state.Codec) { c.Truth(&j.is) }

// slotsOf returns the slots of a program's values and truths, each once.
func slotsOf(program *expr.Program) []int {
	all := slices.Concat(program.Values(), program.Truths())
	slices.Sort(all)
	return slices.Compact(all)
}
