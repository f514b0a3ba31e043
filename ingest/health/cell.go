package health

import "weald/ingest/sample"

// A flag is something that is known about a channel.
type flag uint16

const (
	delivered flag = 1 << iota // it has had a reading
	answered                   // it has changed, by more than a spike
	loaded                     // it once swung by twice the source's swing
	railed                     // it was at the rail in the present window

	silent
	stuck // or dead
	low   // what it is stuck at may be withheld
	lined // found stuck with its whole line
	open
	saturated
	noisy
)

// unfit marks a channel that cannot bear witness about its neighbours.
const unfit = silent | stuck | open | noisy

// A cell is what is remembered of a channel. Load counts upward in it: readings
// of a falling sensor have changed their sign.
type cell struct {
	lo, hi  float32 // in the present window
	last    float32 // newest reading
	floor   float32 // lowest reading ever
	held    float32 // reading when the present window began, or what it is stuck at
	scatter float32 // lately, as a variance; may be negative
	past    float32 // the same over hours

	flags   flag
	fails   uint16 // trials failed in a row
	windows uint8  // in which it was judged, up to 255
	missed  uint8  // looks without a reading, in a row
	answers uint8  // looks in this window that saw another reading than held, up to 2
	jumps   uint8  // to the bottom or back, fading
	pinned  uint8  // windows at the bottom amid load
	rough   uint8  // windows of excessive scatter
	state   State

	seen  sample.Instant // newest reading
	moved sample.Instant // newest change
	since sample.Instant // state has lasted
}

// look examines the present stripe, which ends before channel to. Raw is the
// third scan of it; m.a and m.b have the two before.
func (m *Monitor) look(to int, raw []float64, rail float64) {
	var (
		a, b        = m.a[m.from:to], m.b[m.from:to]
		cells       = m.cells[m.from:to]
		top, bottom = m.window.top, m.window.bottom
		clip        = 64 * m.swing * m.swing // one spike counts for half of what is noisy
		leap        = 4 * m.swing
	)
	b, cells = b[:len(a)], cells[:len(a)]
	for k, v := range raw[m.from:to][:len(a)] {
		c := &cells[k]
		x, y, z := a[k], b[k], float32(v)*m.sign
		if x+y+z != x+y+z {
			if z = newest(x, y, z); z != z {
				m.missing(c)
				continue
			}
			x, y = z, z
		}
		c.seen = m.at
		if top < z {
			top = z
		}
		if bottom > z {
			bottom = z
		}
		if z != c.held || z != c.last || c.flags&(delivered|silent|stuck) != delivered {
			m.change(c, z)
		}
		step := z - y
		if e := (x - y) * step; e != 0 || c.scatter != 0 {
			if e > clip {
				e = clip
			} else if e < -clip {
				e = -clip
			}
			if c.scatter += (e - c.scatter) * (1. / 32); c.scatter < 1e-12 && c.scatter > -1e-12 {
				c.scatter = 0 // far below any reading's square, and before arithmetic slows down
			}
		}
		if step >= leap || step <= -leap {
			m.leap(m.from+k, y, z, raw)
		}
		if v >= rail || c.flags&saturated != 0 {
			m.rail(c, v >= rail)
		}
	}
	m.window.top, m.window.bottom = top, bottom
	m.bottom = min(m.bottom, bottom)
}

// newest returns the last of three readings that is one, or NaN.
func newest(a, b, c float32) float32 {
	switch {
	case c == c:
		return c
	case b == b:
		return b
	}
	return a
}

// change takes a reading that needs more than a glance.
func (m *Monitor) change(c *cell, x float32) {
	if c.flags&delivered == 0 {
		c.flags |= delivered
		c.lo, c.hi, c.floor, c.last, c.held = x, x, x, x, x
		if c.missed > 0 {
			c.moved = m.at
		}
	}
	if c.flags&silent != 0 {
		m.set(c, c.flags&^silent, m.at)
	}
	c.missed = 0
	if x != c.held && c.answers < 2 {
		if c.answers++; c.answers == 2 {
			m.answer(c)
		}
	}
	if x != c.last {
		if c.answers == 2 {
			c.moved = m.at
		}
		c.last = x
		c.lo, c.hi, c.floor = min(c.lo, x), max(c.hi, x), min(c.floor, x)
	}
}

// answer takes note that a channel has changed. A single look that sees another
// reading is a spike, and no answer, unless the channel stays there.
func (m *Monitor) answer(c *cell) {
	c.answers, c.moved, c.fails = 2, m.at, 0
	if c.flags&stuck != 0 {
		m.set(c, c.flags&^(stuck|low|lined), m.at)
		m.list()
	}
}

// missing takes a look that found no reading.
func (m *Monitor) missing(c *cell) {
	if c.missed++; c.missed < 2 {
		return
	}
	c.missed = 2
	if c.flags&silent == 0 && m.at.Sub(c.seen) >= m.config.Silent {
		m.set(c, c.flags|silent, c.seen)
	}
}

// rail takes a reading that is, or was, at the rail.
func (m *Monitor) rail(c *cell, now bool) {
	switch {
	case !now:
		m.set(c, c.flags&^saturated, m.at)
	case c.flags&saturated == 0:
		m.set(c, c.flags|saturated|railed, m.at)
	default:
		c.flags |= railed
	}
}

// set gives c new flags, and the state that they amount to since the given
// instant if it is another.
func (m *Monitor) set(c *cell, f flag, since sample.Instant) {
	c.flags = f
	state := Sound
	switch {
	case f&silent != 0:
		state = Silent
	case f&(stuck|answered) == stuck:
		state = Dead
	case f&stuck != 0:
		state = Stuck
	case f&open != 0:
		state = Open
	case f&saturated != 0:
		state = Saturated
	case f&noisy != 0:
		state = Noisy
	}
	if state != c.state {
		m.counts[c.state]--
		m.counts[state]++
		c.state, c.since = state, since
	}
}

// list notes whom Withhold has to look at.
func (m *Monitor) list() {
	m.held = m.held[:0]
	for i := range m.cells {
		if m.cells[i].flags&low != 0 {
			m.held = append(m.held, uint16(i))
		}
	}
}
