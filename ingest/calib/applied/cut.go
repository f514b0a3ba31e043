package applied

import (
	"math"
	"slices"
)

// A cone is what is known of a piece that grows: between which slopes the pressures
// that it has passed allow its line to be, and between what their uncertainties are.
type cone struct {
	from        int
	least, most [2]float64 // by curve, mmHg per y
	low, high   [6]float64 // by column, without creep and with
}

// reach returns the farthest position to which a piece from another may go: the
// next knot if what it passes allows none.
func (d *draft) reach(t *table, from int) int {
	c := cone{from: from, least: [2]float64{math.Inf(-1), math.Inf(-1)}, most: [2]float64{math.Inf(1), math.Inf(1)}}
	for i := range c.low {
		c.low[i] = math.Inf(1)
	}
	c.varies(d, t, from)
	to := from
	for i := from + 1; i < len(d.y) && !c.varies(d, t, i); i++ {
		if d.knot[i] && c.ends(d, t, i) {
			to = i
		}
		if within(d.y[i]) && !c.passes(d, t, i) {
			break
		}
	}
	for to == from || !d.knot[to] {
		to++
	}
	return to
}

// steady reports whether a constant is close to uncertainties from low to high.
func steady(low, high float64) bool { return high <= float64((2+2*closeU-grade)*low)+close }

// varies takes the uncertainties at a position in, and reports whether no constant
// is close to all.
func (c *cone) varies(d *draft, t *table, at int) bool {
	fits := true
	take := func(k int, u float64) {
		c.low[k], c.high[k] = min(c.low[k], u), max(c.high[k], u)
		fits = fits && steady(c.low[k], c.high[k])
	}
	for i := range t.columns() {
		take(i, d.u[i][at])
		if d.c.Creep != nil {
			take(len(d.u)+i, d.heavy[i][at])
		}
	}
	return !fits
}

// passes takes the pressures at a position in, and reports whether any line is
// close to all.
func (c *cone) passes(d *draft, t *table, at int) bool {
	loose := max(d.loose[at]/2, d.loose[at]-float64(t.step))
	run := d.y[at] - d.y[c.from]
	for i := range t.curves() {
		rise := d.p[i][at] - d.p[i][c.from]
		c.least[i], c.most[i] = max(c.least[i], (rise-loose)/run), min(c.most[i], (rise+loose)/run)
		if c.least[i] > c.most[i] {
			return false
		}
	}
	return true
}

// ends reports whether the lines to a position are close to all that was passed.
func (c *cone) ends(d *draft, t *table, at int) bool {
	for i := range t.curves() {
		if s := (d.p[i][at] - d.p[i][c.from]) / (d.y[at] - d.y[c.from]); s < c.least[i] || s > c.most[i] {
			return false
		}
	}
	return true
}

// write appends the words of a table.
func (d *draft) write(words []uint16, t *table) []uint16 {
	last := len(d.cuts) - 1
	for _, at := range d.cuts[1:last] {
		words = append(words, uint16(d.y[at]))
	}
	for i := range t.curves() {
		for _, at := range d.cuts {
			w := 0.
			if t.step > 0 {
				w = math.Round((d.p[i][at] - float64(t.base)) / float64(t.step))
			}
			words = append(words, uint16(min(max(w, 0), math.MaxUint16)))
		}
	}
	d.doubts = d.doubts[:0]
	highest := 0.
	for i := range t.columns() {
		d.doubts = append(d.doubts, d.value(least-span, i).Independent)
		for k, at := range d.cuts[:last] {
			u, _ := d.doubt(i, at, d.cuts[k+1])
			d.doubts = append(d.doubts, u)
			highest = max(highest, u)
		}
		d.doubts = append(d.doubts, d.value(most+span, i).Independent)
	}
	// Within the range what is less than grades reach down to is stated as more.
	t.sure = float32(max(slices.Min(d.doubts), highest/grades[len(grades)-1]))
	for i, u := range d.doubts {
		code := 0.
		if t.sure > 0 {
			code = math.Round(math.Log(u/float64(t.sure)) / math.Log(grade))
		}
		if i%2 == 0 {
			words = append(words, 0)
		}
		words[len(words)-1] |= uint16(min(max(code, 0), 255)) << (i % 2 * 8)
	}
	return words
}

// doubt returns the uncertainty of a column on a piece between two positions, and
// whether the table is close there. What its pressures are off by is part of the
// uncertainty where that is more than it may be.
func (d *draft) doubt(column, from, to int) (u float64, close bool) {
	low, high := math.Inf(1), 0.
	for _, u := range d.u[column][from : to+1] {
		low, high = min(low, u), max(high, u)
	}
	u, close = math.Sqrt(low*high), true
	if !steady(low, high) {
		u, close = high, false
	}
	for i := from + 1; i < to; i++ {
		if within(d.y[i]) && d.off(column, from, to, d.y[i], d.pressure(column, i)) > d.loose[i] {
			return math.Hypot(u, d.farthest(column, from, to)), false
		}
	}
	return u, close
}

// farthest returns by how much the pressure of a column on a piece is off at most.
func (d *draft) farthest(column, from, to int) (worst float64) {
	const parts = 32
	begin, length := max(d.y[from], least), min(d.y[to], most)-max(d.y[from], least)
	for i := range parts + 1 {
		y := begin + float64(float64(i)/parts*length)
		worst = max(worst, d.off(column, from, to, y, float64(d.value(y, column).MMHg)))
	}
	return worst
}

// off returns by how much the pressure of a column on a piece is off at y, where it
// is p.
func (d *draft) off(column, from, to int, y, p float64) float64 {
	a, b := d.pressure(column, from), d.pressure(column, to)
	return math.Abs(a + float64((y-d.y[from])/(d.y[to]-d.y[from])*(b-a)) - p)
}

// pressure returns that of a column at a position.
func (d *draft) pressure(column, at int) float64 {
	if column == still {
		return (d.p[loading][at] + d.p[unloading][at]) / 2
	}
	return d.p[column][at]
}
