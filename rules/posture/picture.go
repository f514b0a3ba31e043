package posture

import (
	"math"
	"slices"
)

// The picture that a map is turned into: bins around the middle of the load,
// from head to feet and from side to side.
const (
	tall      = 22
	wide      = 14
	layers    = 2 // whether, and how hard
	binAlong  = 100.0
	binAcross = 60.0
)

// floor is the part of the typical pressure below which a cell counts as
// untouched: what bedding and a mat's own noise make.
const floor = 0.08

// A picture is a map made comparable: see the package comment. Rows run from
// head to feet, columns from side to side as seen from above.
type picture [layers * tall * wide]float64

// A drawer makes pictures of the maps of one mat. It belongs to one goroutine.
type drawer struct {
	upright
	*paper            // while it draws
	middle [2]float64 // of the map drawn last: its row and column, from 0

	// Cells that are larger than a bin are looked at in so many parts.
	partsAlong, partsAcross int
}

// A paper is what a map is drawn on. A ward has hundreds of drawers, which draw every
// few seconds: they share what few of them need at once.
type paper struct {
	cells  []float64 // the map upright and compressed; 0 where nothing presses
	byRow  []float64 // what each row and each column adds up to
	byCol  []float64
	lines  []float64 // by bin from head to feet, with one beyond either end, and column
	shares []share   // by column, or part of one: the bins that it falls into
}

// papers are those that nobody draws on.
var papers = make(chan *paper, 4)

func takePaper() *paper {
	select {
	case p := <-papers:
		return p
	default:
		return new(paper)
	}
}

func (d *drawer) giveBack() {
	select {
	case papers <- d.paper:
	default: // there are enough
	}
	d.paper = nil
}

// fit makes room for the maps of d.
func (p *paper) fit(d *drawer) {
	p.cells = room(p.cells, d.rows*d.columns)
	p.lines = room(p.lines, (tall+2)*d.columns)
	p.byRow, p.byCol = room(p.byRow, d.rows), room(p.byCol, d.columns)
	p.shares = room(p.shares, d.columns*d.partsAcross)
}

func room[T any](s []T, n int) []T { return slices.Grow(s[:0], n)[:n] }

// A share says how much of a line of cells falls into bin and how much into the
// next one.
type share struct {
	bin         int
	here, there float64
}

func newDrawer(m *Mat) *drawer {
	u := m.upright()
	along, across := parts(u.along, binAlong), parts(u.across, binAcross)
	return &drawer{upright: u, partsAlong: along, partsAcross: across}
}

func parts(pitch, bin float64) int { return int(math.Ceil(pitch / bin)) }

// typical returns the pressure that the loaded part of a map has: the mean of
// what is above the mean of what is above 0. Bedding, which is light and
// everywhere, hardly moves it; a few cells far above the rest do not rule it,
// because none counts for more than eight times the mean.
func typical(values []float64) float64 {
	mean, n, _ := meanAbove(values, 0, math.Inf(1))
	if n == 0 {
		return 0
	}
	loaded, n, far := meanAbove(values, mean, 8*mean)
	if far {
		loaded, n = cappedAbove(values, mean, 8*mean)
	}
	if n == 0 {
		return mean
	}
	return loaded
}

// meanAbove returns the mean of the values above low and how many there are, and
// whether any is above high; then the mean means nothing. Unknown ones are not
// above anything.
func meanAbove(values []float64, low, high float64) (mean float64, n int, far bool) {
	var sum, other float64 // two, as each waits for its last addition
	i := 0
	for ; i < len(values)-1; i += 2 {
		a, b := values[i], values[i+1]
		if a > low {
			sum += a
			n++
		}
		if b > low {
			other += b
			n++
		}
		if a > high || b > high {
			return 0, 0, true
		}
	}
	if i < len(values) && values[i] > low {
		sum += values[i]
		n++
		far = values[i] > high
	}
	return (sum + other) / float64(n), n, far
}

// cappedAbove is meanAbove where no value counts for more than high.
func cappedAbove(values []float64, low, high float64) (mean float64, n int) {
	sum := 0.0
	for _, v := range values {
		if v > low {
			sum += min(v, high)
			n++
		}
	}
	return sum / float64(n), n
}

// draw fills pic with the picture of a map; false where it has nothing to show.
func (d *drawer) draw(values []float64, pic *picture) bool {
	m := typical(values)
	if !(m > 0) {
		return false
	}
	d.paper = takePaper()
	defer d.giveBack()
	d.fit(d)
	d.compress(values, 1/m)
	top, left, total := d.centre()
	if !(total > 0) {
		return false
	}
	d.middle = [2]float64{top, left}
	*pic = picture{}
	clear(d.lines)
	bins := d.upright.across / binAcross // to a cell
	for k := range d.shares {
		d.shares[k] = shareOf(partAt(k, d.partsAcross)-left, bins, wide)
	}
	bins = d.along / binAlong
	for k := range d.rows * d.partsAlong {
		r := k / d.partsAlong
		s := shareOf(partAt(k, d.partsAlong)-top, bins, tall)
		if s.bin < -1 || s.bin >= tall || d.byRow[r] == 0 {
			continue
		}
		d.gather(d.cells[r*d.columns:(r+1)*d.columns], s)
	}
	for b := range tall {
		d.spread(d.lines[(b+1)*d.columns:(b+2)*d.columns], (*[wide]float64)(pic[b*wide:]))
	}
	return pic.finish(d.along * d.upright.across / (binAlong * binAcross) / float64(d.partsAlong*d.partsAcross))
}

// compress turns the map upright and its pressures into 0 to 1: half for the
// typical one. So a saturated cell, or one whose gain has doubled, counts little
// more than its neighbours. An unknown cell is what is known beside it.
func (d *drawer) compress(values []float64, scale float64) {
	clear(d.byCol)
	byCol, step := d.byCol, d.on
	for r := range d.rows {
		row := d.cells[r*d.columns:][:len(byCol)]
		last := 0.0
		if r > 0 {
			last = d.cells[(r-1)*d.columns]
		}
		at, sum := d.first+r*d.down, 0.0
		for c := range row {
			v := values[at]*scale - floor
			at += step
			switch {
			case v > 0:
				last = v / (1 + v)
			case v <= 0:
				last = 0
			}
			row[c] = last
			byCol[c] += last
			sum += last
		}
		d.byRow[r] = sum
	}
}

// centre returns the middle of the compressed load, in rows and columns, and
// how much of it there is.
func (d *drawer) centre() (row, column, total float64) {
	for r, v := range d.byRow {
		row += float64(r) * v
		total += v
	}
	for c, v := range d.byCol {
		column += float64(c) * v
	}
	return row / total, column / total, total
}

// partAt returns where the middle of the k-th part is, in cells.
func partAt(k, parts int) float64 { return (float64(k)+0.5)/float64(parts) - 0.5 }

// shareOf says which two bins a line falls between that is so many cells away
// from the middle of the picture, and how near it is to each.
func shareOf(cells, toACell float64, bins int) share {
	at := cells*toACell + float64(bins-1)/2
	whole := math.Floor(at)
	part := at - whole
	return share{bin: int(whole), here: 1 - part, there: part}
}

// gather adds a row of cells to the lines of bins that it falls into.
func (d *drawer) gather(cells []float64, s share) {
	n := len(cells)
	here, there := d.lines[(s.bin+1)*n:][:n], d.lines[(s.bin+2)*n:][:n]
	for c, v := range cells {
		here[c] += v * s.here
		there[c] += v * s.there
	}
}

// spread makes a row of the picture of a line of bins.
func (d *drawer) spread(cells []float64, row *[wide]float64) {
	var line [wide + 2]float64 // with a bin on either side for what falls outside
	// Neighbours mostly fall into the same bins: what these get waits in here and
	// there, for adding to memory again and again is slow.
	bin, here, there := -1, 0.0, 0.0
	for c, v := range cells {
		if v == 0 {
			continue
		}
		for _, a := range d.shares[c*d.partsAcross : (c+1)*d.partsAcross] {
			if a.bin != bin {
				if uint(bin+1) < wide+1 {
					line[bin+1] += here
					line[bin+2] += there
				}
				bin, here, there = a.bin, 0, 0
			}
			here += v * a.here
			there += v * a.there
		}
	}
	if uint(bin+1) < wide+1 {
		line[bin+1] += here
		line[bin+2] += there
	}
	copy(row[:], line[1:wide+1])
}

var soft, knee = 0.03, 0.3

func (p *picture) finish(by float64) bool {
	n := tall * wide
	for i, v := range p[:n] {
		if v == 0 {
			continue
		}
		v *= by
		low, high := v+soft, v+knee
		by := v / (low * high) // one division, which is slow, for both
		p[i], p[n+i] = by*high, by*v*low
	}
	return scale(p[:n]) && scale(p[n:])
}

// scale makes the sum of squares 1; false where there is nothing.
func scale(p []float64) bool {
	var sum, other float64
	for i := 0; i < len(p)-1; i += 2 { // they are even in number
		sum += p[i] * p[i]
		other += p[i+1] * p[i+1]
	}
	if sum += other; !(sum > 0) {
		return false
	}
	by := 1 / math.Sqrt(sum)
	for i := range p {
		p[i] *= by
	}
	return true
}
