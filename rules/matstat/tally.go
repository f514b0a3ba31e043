package matstat

import "math"

// A total is what the cells of a strip, a set or an area add up to.
type total struct {
	known, contact int
	sum, touching  float64 // mmHg, of the known cells and of those in contact
	squares        float64 // mmHg², of those in contact
	pressing       float64 // mmHg, of what is above 0
	x, y           float64 // moments of that, in cells
	high           float64 // mmHg, the highest
	least          float64 // mmHg, no known cell is below it
}

var empty = total{high: math.Inf(-1)}

func (t *total) add(u *total) {
	t.known += u.known
	t.contact += u.contact
	t.sum += u.sum
	t.touching += u.touching
	t.squares += u.squares
	t.pressing += u.pressing
	t.x += u.x
	t.y += u.y
	if u.high > t.high {
		t.high = u.high
	}
}

// Tally measures values, which has one entry for each cell of the grid, in mmHg,
// NaN where unknown: all of Measure but Index, Variation and Gradient, which
// become NaN. A cell above contact, which is not below 0, is in contact.
func (m *Mat) Tally(values []float64, contact float64) {
	m.contact = contact
	for k := range m.sets {
		m.sets[k].total = empty
	}
	var t total
	for k := range m.strips {
		s := &m.strips[k]
		vs := values[s.from:s.to]
		if !t.plain(vs, m.xs[s.column:], contact) {
			t = careful(vs, m.xs[s.column:], contact)
		}
		t.y = t.pressing * (float64(s.row) + 0.5)
		s.high, s.least, s.contact = t.high, t.least, t.contact > 0
		m.sets[s.set].total.add(&t)
	}
	for k := range m.areas {
		a := &m.areas[k]
		a.total = empty
		for _, s := range a.sets {
			a.total.add(&m.sets[s].total)
		}
		a.now = m.measure(a)
	}
}

// plain adds up neighbouring cells, as of the middles xs, that are all known and
// none below 0, and says whether they are; else what it found is worth nothing.
// Every cell of every mat comes by here: there is one branch to a cell, which
// bodies, having few edges, let the processor foresee, and a negative or unknown
// cell is found by what it leaves behind. Floats that are not negative are in the
// order of their bits. It needs all registers, and stays out of its caller also where a
// build by a profile would put it there, which took two fifths more instructions.
//
//go:noinline
func (t *total) plain(values, xs []float64, contact float64) bool {
	xs = xs[:len(values)]
	var sum, touching, squares, x float64
	var signs, high int64
	n := 0
	for i, v := range values {
		bits := int64(math.Float64bits(v))
		signs |= bits
		high = max(high, bits)
		sum += v
		x += float64(v * xs[i])
		if v > contact {
			touching += v
			squares += float64(v * v)
			n++
		}
	}
	// One by one: a total that is made whole and then copied takes as long as its cells.
	t.known, t.contact, t.sum, t.touching, t.squares = len(values), n, sum, touching, squares
	t.pressing, t.x, t.high, t.least = sum, x, math.Float64frombits(uint64(high)), 0
	return signs >= 0 && sum == sum
}

// careful adds up any cells.
func careful(values, xs []float64, contact float64) total {
	t := empty
	for i, v := range values {
		if v != v {
			continue
		}
		t.known++
		t.sum += v
		if v > t.high {
			t.high = v
		}
		if v > 0 {
			t.pressing += v
			t.x += float64(v * xs[i])
		} else if v < t.least {
			t.least = v
		}
		if v > contact {
			t.contact++
			t.touching += v
			t.squares += float64(v * v)
		}
	}
	return t
}

// measure makes figures of what an area adds up to.
func (m *Mat) measure(a *area) Measure {
	t, out := &a.total, nothing
	out.Cells, out.Above, out.Known = a.now.Cells, m.contact, t.known
	if t.known == 0 {
		return out
	}
	cell := m.grid.PitchMM[0] * m.grid.PitchMM[1] // mm²
	out.Contact, out.Peak, out.Mean = t.contact, t.high, 0
	out.Sum, out.AreaCM2, out.Newtons = t.sum, float64(t.contact)*cell/100, t.sum*cell*NewtonsPerMMHgMM2
	if t.pressing > 0 {
		out.X, out.Y = t.x/t.pressing*m.grid.PitchMM[1]/10, t.y/t.pressing*m.grid.PitchMM[0]/10
	}
	if t.contact > 0 {
		out.Mean = t.touching / float64(t.contact)
	}
	return out
}
