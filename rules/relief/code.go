package relief

import (
	"weald/rules/hold"
	"weald/rules/state"
)

// Code implements state.Coder.
func (t *Tracker) Code(c *state.Codec) {
	for i := range t.windows {
		t.windows[i].Code(c)
	}
	c.Floats(t.base[:])
	c.Float(&t.full)
	c.Floats(t.load[:])
	c.Truth(&t.seated)
	for _, d := range []*doing{&t.shift, &t.relief, &t.empty} {
		c.Truth(&d.cond)
		c.Bytes(d.hold.Append, func(b []byte) (rest []byte, err error) {
			d.hold, rest, err = hold.ReadState(b)
			return rest, err
		})
	}
	episode := int(t.episode)
	c.Int(&episode, 0, int(Transfer))
	t.episode = Kind(episode)
	c.Duration(&t.silent)
	c.Duration(&t.since)
	for k := range t.counts {
		c.Int(&t.counts[k], 0, 1<<40)
	}
}
