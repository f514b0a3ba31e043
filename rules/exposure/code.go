package exposure

import "weald/rules/state"

// Code implements state.Coder.
func (d *Dose) Code(c *state.Codec) {
	c.Float(&d.Used)
	c.Duration(&d.Unloaded)
	c.Duration(&d.Silent)
}
