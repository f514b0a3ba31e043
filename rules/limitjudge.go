package rules

import (
	"fmt"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/rules/hold"
	"weald/rules/limb"
	"weald/rules/state"
)

// A limitJudge judges a signal against a band, as a limit does, and knows why
// there may be nothing to judge.
type limitJudge struct {
	still
	rule   *Rule
	limit  *Limit
	band   hold.Certain
	signal int
	why    func(p *place) string
	memory hold.Memory
	is     sample.Truth
}

func (j *limitJudge) look(p *place) {
	j.is, j.memory = j.band.Judge(p.signals[j.signal].Value, p.signals[j.signal].U, j.memory)
}

func (j *limitJudge) condition(p *place) (sample.Truth, bool) {
	return j.is, j.is == sample.Maybe && p.lasting() != sample.Never
}

func (j *limitJudge) waits(p *place) string { return j.why(p) }

func (j *limitJudge) measured(p *place, e *alert.Event) {
	s := &p.signals[j.signal]
	e.Signal, e.Unit, e.Value, e.U, e.Limit = s.Name, s.Unit, s.Value, s.U, j.band.Limit(s.Value)
}

func (j *limitJudge) words(p *place, e *alert.Event) said {
	s := &p.signals[j.signal]
	reading := ""
	if s.Value == s.Value {
		reading = Quantity(s.Value, s.U, s.Unit, e.Limit)
	}
	return said{subject: spokenSignal(s.Name), is: j.limit.words(s.Value, s.Unit) + j.rule.sure(), asked: j.limit.Words(s.Unit) + j.rule.sure(), reading: reading, note: reservation(s.Extrapolated, s.Expired)}
}

// Code implements state.Coder.
func (j *limitJudge) Code(c *state.Codec) {
	m := int(j.memory)
	c.Int(&m, 0, 2)
	j.memory = hold.Memory(m)
	c.Truth(&j.is)
}

// noSwing says why there is no walking amplitude.
func noSwing(p *place) string {
	l := p.limbState()
	walk, walks := l.limb.Walk()
	switch {
	case walks && !walk.Resolved():
		return fmt.Sprintf("not resolvable: %.1f scans/s are fewer than %d for each of %.2f strides/s", walk.Rate, limb.PerStride, walk.Hertz)
	case l.limb.Activity().Walking == sample.Maybe && l.limb.Activity().Still == sample.No:
		return "not resolvable: too few scans a second to tell a stride"
	case l.limb.Activity().Walking == sample.No:
		return "not walking"
	}
	return "not known whether it walks"
}

// limbState is what a place of the kind wrap has.
func (p *place) limbState() *limbState {
	for _, d := range p.derivations {
		if l, ok := d.(*limbState); ok {
			return l
		}
	}
	return nil
}
