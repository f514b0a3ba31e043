package health

const (
	pinnedWindows = 3
	jumpsAllowed  = 3
	roughWindows  = 3
	pastWindows   = 16 // before a channel has a past
	ratio         = 25 // of variances: five times the scatter
)

// leap looks at a step from y to z of channel i: one that ends or begins at the
// bottom, while all that surrounds it stands still under load, is a contact that
// opens.
func (m *Monitor) leap(i int, y, z float32, raw []float64) {
	if min(y, z) > m.bottom {
		return
	}
	near, direct := m.shape.around(i)
	if direct > 0 {
		near = near[:direct]
	}
	own, still := abs(z-y), 0
	for _, j := range near {
		d, now := abs(float32(raw[j])*m.sign-m.b[j]), float32(raw[j])*m.sign
		if d != d || m.cells[j].flags&unfit != 0 {
			continue
		}
		if 8*d > own || now < m.cells[j].floor+2*m.swing {
			return
		}
		still++
	}
	if c := &m.cells[i]; still >= 2 && c.jumps < 64 {
		c.jumps += 4 // fades by a quarter of that in each window
	}
}

// judgeOpen says whether a lead looks open.
func (m *Monitor) judgeOpen(i int, c *cell) {
	switch {
	case c.hi > m.bottom || c.flags&loaded == 0:
		c.pinned = 0
	case c.pinned < pinnedWindows && m.amidLoad(i):
		c.pinned++
	}
	found := c.pinned >= pinnedWindows || c.jumps > 4*(jumpsAllowed-1)
	if c.flags&open != 0 && c.jumps > 0 {
		found = true // it has to hold still before it is believed
	}
	c.jumps -= min(c.jumps, 1)
	switch {
	case found && c.flags&open == 0:
		since := m.window.from
		if c.pinned >= pinnedWindows {
			since = c.moved
		}
		m.set(c, c.flags|open, since)
	case !found && c.flags&open != 0:
		m.set(c, c.flags&^open, m.at)
	}
}

// amidLoad reports whether all direct neighbours of channel i have been well
// above the lowest that they know in the whole window.
func (m *Monitor) amidLoad(i int) bool {
	near, direct := m.shape.around(i)
	if direct > 0 {
		near = near[:direct]
	}
	n := 0
	for _, j := range near {
		c := &m.cells[j]
		if c.flags&delivered == 0 || c.flags&unfit != 0 {
			continue
		}
		if c.lo < c.floor+2*m.swing {
			return false
		}
		n++
	}
	return n >= 2
}

// judgeNoise says whether a channel scatters far more than it used to and than
// those around it do.
func (m *Monitor) judgeNoise(i int, c *cell) {
	found := c.scatter >= 4*m.swing*m.swing
	if found {
		others := m.scatterAround(i)
		switch {
		case others != others:
			found = false // nobody to compare with
		case c.windows < pastWindows:
			found = c.scatter > 4*ratio*others
		default:
			found = c.scatter > ratio*others && c.scatter > ratio*c.past
		}
	}
	switch {
	case !found:
		c.rough = 0
		if c.flags&noisy != 0 {
			m.set(c, c.flags&^noisy, m.at)
		}
	case c.rough < roughWindows:
		if c.rough++; c.rough == roughWindows {
			m.set(c, c.flags|noisy, m.at)
		}
	}
	if c.windows < 255 {
		c.windows++
	}
	if !found {
		c.past += (max(c.scatter, 0) - c.past) / min(float32(c.windows), 64)
	}
}

// scatterAround returns the mean scatter of the channels around channel i, or
// of those that follow it where nothing is known of its neighbours; NaN where
// there is none to ask.
func (m *Monitor) scatterAround(i int) float32 {
	sum, n := float32(0), float32(0)
	add := func(c *cell) {
		if c.flags&delivered != 0 && c.flags&(silent|stuck) == 0 {
			sum += max(c.scatter, 0)
			n++
		}
	}
	near, _ := m.shape.around(i)
	for _, j := range near {
		add(&m.cells[j])
	}
	if len(near) == 0 {
		for k := 1; k <= min(8, len(m.cells)-1); k++ {
			add(&m.cells[(i+k)%len(m.cells)])
		}
	}
	return sum / n
}

func abs(x float32) float32 { return max(x, -x) }
