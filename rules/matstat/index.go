package matstat

import "math"

// A bed is every place where a patch of one shape lies within an area: for each
// row of the grid, runs of cells that can be the first of the patch.
type bed struct {
	patch Patch
	rows  []int32 // runs[rows[r]:rows[r+1]] are those of row r
	runs  [][2]int32
}

// lay finds where p lies within the cells that are in.
func lay(g Grid, in []bool, p Patch) bed {
	b := bed{patch: p, rows: make([]int32, g.Rows+1)}
	for r := range g.Rows {
		b.rows[r] = int32(len(b.runs))
		open := false
		for c := range g.Columns {
			whole := r+p.Rows <= g.Rows && c+p.Columns <= g.Columns
			for i := 0; whole && i < p.Rows*p.Columns; i++ {
				whole = in[(r+i/p.Columns)*g.Columns+c+i%p.Columns]
			}
			at := int32(r*g.Columns + c)
			switch {
			case whole && open:
				b.runs[len(b.runs)-1][1] = at + 1
			case whole:
				b.runs = append(b.runs, [2]int32{at, at + 1})
			}
			open = whole
		}
	}
	b.rows[g.Rows] = int32(len(b.runs))
	return b
}

// peakPressure is the peak pressure index: the highest mean of a patch, or that
// of all known cells where no patch fits.
//
// No mean of cells is above the highest of them. So only patches count that hold a
// cell above the best so far, and the first to be looked at are those with the
// highest cell of all, which leaves few others.
func (m *Mat) peakPressure(a *area, values []float64) float64 {
	best, fits := math.Inf(-1), false
	a.now.Where = Patch{}
	for k := range a.beds {
		fits = fits || len(a.beds[k].runs) > 0
	}
	if !fits {
		return a.now.Sum / float64(a.now.Known)
	}
	for _, k := range a.strips {
		if s := &m.strips[k]; s.high == a.now.Peak {
			best = m.about(a, s, values, math.Nextafter(s.high, best), best)
			break
		}
	}
	for _, k := range a.strips {
		if s := &m.strips[k]; s.high > best {
			best = m.about(a, s, values, best, best)
		}
	}
	if math.IsInf(best, -1) {
		return math.NaN()
	}
	return best
}

// about looks at the patches that hold a cell of s above the given pressure, and
// returns the best.
func (m *Mat) about(a *area, s *strip, values []float64, above, best float64) float64 {
	first, last := s.from, s.to
	for first < last && !(values[first] > above) {
		first++
	}
	for first < last && !(values[last-1] > above) {
		last--
	}
	if first == last {
		return best
	}
	columns := int32(m.grid.Columns)
	for k := range a.beds {
		b := &a.beds[k]
		tall, wide := int32(b.patch.Rows), int32(b.patch.Columns)
		for up := range min(tall, s.row+1) {
			row := s.row - up
			low, high := first-up*columns-wide+1, last-up*columns
			for _, r := range b.runs[b.rows[row]:b.rows[row+1]] {
				if from, to := max(low, r[0]), min(high, r[1]); from < to {
					if mean, at := m.highest(b.patch, values[from:], int(to-from), best); at >= 0 {
						best, a.now.Where, a.now.At = mean, b.patch, int(from)+at
					}
				}
			}
		}
	}
	return best
}

// highest returns the highest mean of n patches beside each other, the first cell
// of the first of which is that of values, and which it is; -1 where none is above
// best. A patch counts of which at least half is known.
func (m *Mat) highest(p Patch, values []float64, n int, best float64) (mean float64, at int) {
	at = -1
	// What the columns of the patches add up to, and of how many cells.
	sums, known := m.sums[:n+p.Columns-1], m.known[:n+p.Columns-1]
	clear(sums)
	clear(known)
	for r := range p.Rows {
		for c, v := range values[r*m.grid.Columns:][:len(sums)] {
			if v == v {
				sums[c] += v
				known[c]++
			}
		}
	}
	for i := range n {
		sum, of := 0.0, 0
		for c := i; c < i+p.Columns; c++ {
			sum += sums[c]
			of += int(known[c])
		}
		if 2*of >= p.Rows*p.Columns && sum > best*float64(of) {
			best, at = sum/float64(of), i
		}
	}
	return best, at
}
