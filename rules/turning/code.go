package turning

import (
	"weald/rules/posture"
	"weald/rules/state"
)

// Code implements state.Coder.
func (t *Tracker) Code(c *state.Codec) {
	saw, position := int(t.seeing), int(t.position)
	c.Int(&saw, int(nothing), int(empty))
	c.Int(&position, int(posture.NotSure), int(posture.Right))
	t.seeing, t.position = seeing(saw), posture.Position(position)
	c.Duration(&t.silent)
	c.Duration(&t.unlooked)
	c.Duration(&t.held)
	c.Int(&t.turns, 0, 1<<40)
	t.lain.code(c)
	t.next.code(c)
}

func (p *pattern) code(c *state.Codec) {
	c.Bool(&p.there)
	if !p.there {
		return
	}
	c.Duration(&p.seen)
	c.Floats(p.pic)
	c.Float(&p.along)
	c.Float(&p.across)
	c.Int(&p.looks, 0, 1<<40)
	c.Floats(p.shares[:])
}
