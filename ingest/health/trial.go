package health

const (
	failsAllowed = 6  // trials, in a row
	lineWitness  = 3  // cells on both sides of a line that have to swing
	swingShare   = 64 // part of the reach that is a swing
	reachFades   = 128
)

// endWindow judges all channels by the window that is over and begins the next.
func (m *Monitor) endWindow() {
	if m.window.top >= m.window.bottom {
		m.reach = max(m.reach-m.reach/reachFades, m.window.top-m.window.bottom)
	}
	m.swing = max(float32(m.config.Move), m.reach/swingShare)
	m.untried = 0
	for i := range m.cells {
		c := &m.cells[i]
		if c.flags&(answered|stuck) == 0 && c.fails == 0 {
			m.untried++
		}
		if c.flags&delivered == 0 || c.flags&silent != 0 {
			continue
		}
		if c.answers < 2 && c.last != c.held {
			m.answer(c)
		}
		m.judge(i, c)
		m.judgeOpen(i, c)
		m.judgeNoise(i, c)
	}
	m.judgeLines()
	for i := range m.cells {
		c := &m.cells[i]
		c.lo, c.hi, c.answers = c.last, c.last, 0
		if c.flags&stuck == 0 {
			c.held = c.last
		}
		if c.flags&saturated == 0 {
			c.flags &^= railed
		}
	}
	m.beginWindow(m.at)
}

// judge says whether channel i changed, and if not, whether it ought to have.
func (m *Monitor) judge(i int, c *cell) {
	switch {
	case c.answers == 2:
		c.flags |= answered
		if c.hi-c.lo >= 2*m.swing {
			c.flags |= loaded
		}
	case c.flags&railed != 0:
		c.fails = 0 // the rail explains it
	case m.tried(i):
		if c.fails < 1<<15 {
			c.fails++
		}
		if c.fails >= failsAllowed && c.flags&stuck == 0 {
			m.convict(i, c, 0)
		}
	}
}

// convict finds channel i stuck, alone or with its line.
func (m *Monitor) convict(i int, c *cell, with flag) {
	c.held = c.last
	f := c.flags | stuck | with
	if m.harmless(i, c.held) {
		f |= low
	}
	m.set(c, f, c.moved)
	m.list()
}

// harmless reports whether x is near the lowest that the neighbours of channel
// i have ever read, so that no load is lost with it.
func (m *Monitor) harmless(i int, x float32) bool {
	near, _ := m.shape.around(i)
	rest := inf
	for _, j := range near {
		if c := &m.cells[j]; c.flags&delivered != 0 && c.flags&unfit == 0 {
			rest = min(rest, c.floor)
		}
	}
	return rest < inf && x <= rest+m.swing
}

// swung reports whether a channel has moved in the window that is over.
func (m *Monitor) swung(c *cell) bool { return c.hi-c.lo >= m.swing }

// tried reports whether channel i, which has not changed, was on trial: whether
// so much moved around it that it ought to have.
func (m *Monitor) tried(i int) bool {
	near, direct := m.shape.around(i)
	witnesses, swung, idle := 0, 0, -1
	for k, j := range near {
		c := &m.cells[j]
		if c.flags&delivered == 0 || c.flags&unfit != 0 {
			continue
		}
		witnesses++
		switch {
		case m.swung(c):
			swung++
		case k >= direct:
		case idle < 0 && c.answers < 2:
			idle = int(j)
		default:
			return false
		}
	}
	if swung < 2 || 4*swung < 3*witnesses {
		return false
	}
	return idle < 0 || m.surrounded(idle, i)
}

// surrounded reports whether all direct neighbours of cell i have swung, apart
// from its mate.
func (m *Monitor) surrounded(i, mate int) bool {
	near, direct := m.shape.around(i)
	swung := 0
	for _, j := range near[:direct] {
		c := &m.cells[j]
		if int(j) == mate || c.flags&delivered == 0 || c.flags&unfit != 0 {
			continue
		}
		if !m.swung(c) {
			return false
		}
		swung++
	}
	return swung >= 2
}

// judgeLines does for whole rows and columns what judge does for cells.
func (m *Monitor) judgeLines() {
	rows, columns := m.config.Rows, m.config.Columns
	for r := 1; r < rows-1; r++ {
		m.judgeLine(&m.rows[r], r*columns, 1, columns, columns)
	}
	for c := 1; c < columns-1; c++ {
		m.judgeLine(&m.columns[c], c, columns, rows, 1)
	}
}

// judgeLine judges the line of n cells that begins at first, step apart, with
// neighbours side away on either side.
func (m *Monitor) judgeLine(fails *uint16, first, step, n, side int) {
	witnesses := 0
	for k, i := 0, first; k < n; k, i = k+1, i+step {
		if c := &m.cells[i]; c.answers == 2 || c.flags&(railed|silent) != 0 {
			if *fails >= failsAllowed {
				m.release(first, step, n)
			}
			*fails = 0
			return
		}
		if m.swung(&m.cells[i-side]) && m.swung(&m.cells[i+side]) {
			witnesses++
		}
	}
	if witnesses < lineWitness || *fails == 1<<15 {
		return
	}
	if *fails++; *fails < failsAllowed {
		return
	}
	for k, i := 0, first; k < n; k, i = k+1, i+step {
		if c := &m.cells[i]; c.flags&(delivered|stuck) == delivered {
			m.convict(i, c, lined)
		}
	}
}

// release acquits those cells of a line that were found stuck with it and of
// which nothing else is known.
func (m *Monitor) release(first, step, n int) {
	for k, i := 0, first; k < n; k, i = k+1, i+step {
		if c := &m.cells[i]; c.flags&lined != 0 && c.fails < failsAllowed {
			m.set(c, c.flags&^(stuck|low|lined), m.at)
		}
	}
	m.list()
}
