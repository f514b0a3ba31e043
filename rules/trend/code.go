package trend

import "weald/rules/state"

// Code implements state.Coder.
func (w *Window) Code(c *state.Codec) {
	c.Bool(&w.any)
	c.Int64(&w.last)
	for i := range w.slots {
		s := &w.slots[i]
		c.Int(&s.n, 0, 1<<40)
		c.Float(&s.sum)
		c.Float(&s.times)
	}
}
