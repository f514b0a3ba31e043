package rules

import (
	"time"

	"weald/ingest/sample"
	"weald/rules/hold"
	"weald/rules/state"
)

const (
	// A bed or a seat is taken while at least this share of its cells is in
	// contact: our own choice, no source. Somebody who lies covers about a
	// fifth of a bed and more.
	bedTaken, seatTaken = 0.03, 0.15
	// A site is under a wrap, or borne on, from this pressure in mmHg on.
	siteTaken = 5
	// goneAfter is how long there must be nobody for the place to be empty; a
	// relief is shorter (common practice, no source).
	goneAfter = time.Minute
)

// A bodyState says whether there is somebody to be judged: a bed or a seat that
// is occupied, a limb that is wrapped.
type bodyState struct {
	signal int
	spec   hold.Spec
	hold   hold.State
	there  sample.Truth // at this instant
	been   bool         // there has been somebody since the place was last empty
}

func newBody(signal int) *bodyState {
	return &bodyState{signal: signal, spec: hold.Spec{OnDelay: goneAfter, ForgetAfter: hold.Forever}}
}

// answer is whether there is somebody: who has been there is, until the place
// has been empty for a while.
func (b *bodyState) answer() sample.Truth {
	if b.there == sample.No && b.been && !b.hold.Raised {
		return sample.Yes
	}
	return b.there
}

func (b *bodyState) pass(span time.Duration) {
	if change, _ := b.hold.Advance(&b.spec, span, b.there.Not()); change == hold.Raised {
		b.been = false
	}
}

func (b *bodyState) look(p *place, _ bool) {
	b.there = p.taken()
	if b.pass(0); b.there == sample.Yes {
		b.been = true
	}
	b.show(p, p.at)
}

func (b *bodyState) show(p *place, at sample.Instant) {
	p.put(b.signal, truthValue(b.answer()), at, p.lasting())
}

func (b *bodyState) first() int { return b.signal }

// Code implements state.Coder.
func (b *bodyState) Code(c *state.Codec) {
	codeHold(c, &b.hold)
	c.Truth(&b.there)
	c.Bool(&b.been)
}

func codeHold(c *state.Codec, h *hold.State) {
	c.Bytes(h.Append, func(b []byte) (rest []byte, err error) {
		*h, rest, err = hold.ReadState(b)
		return rest, err
	})
}

// untold is what rules were told of whether there is nobody, before anything was.
const untold sample.Truth = 2

// taken is whether anybody presses on the place at this instant. It is taken as
// soon as one thing says so, and empty only if everything that is known does.
func (p *place) taken() sample.Truth {
	t, known := sample.No, 0
	if p.mat != nil {
		share := bedTaken
		if p.spec.Kind == Seat {
			share = seatTaken
		}
		whole := p.mat.stat.Of(0)
		switch {
		case 2*whole.Known < whole.Cells || whole.Known == 0:
			t = sample.Maybe
		default:
			t, known = sample.Of(float64(whole.Contact) >= share*float64(whole.Known)), known+1
		}
	}
	for i := range p.sites {
		if v := p.signals[p.sites[i].signal].Value; v == v {
			known++
			t = t.Or(sample.Of(v >= siteTaken))
		}
	}
	if known == 0 {
		return sample.Maybe
	}
	return t
}
