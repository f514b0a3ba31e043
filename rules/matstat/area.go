package matstat

import (
	"math"
	"slices"

	"weald/ingest/sample"
)

// A Grid is the layout of a mat: cells row by row.
type Grid struct {
	Rows, Columns int
	PitchMM       [2]float64 // from row to row, from column to column; NaN where not known
}

// An Area is a grid, or some of its cells, prepared for measuring.
type Area struct {
	grid  Grid
	cells []int32
	beds  []bed
	right []int32 // cells whose right neighbour is in the area too
	below []int32
}

// A bed is every place where a patch of one shape lies within the area.
type bed struct {
	patch Patch
	tops  []int32 // the first cell of the patch
}

// NewArea prepares the given cells of a grid (indices row by row, ascending)
// for measuring with the given patch.
func NewArea(g Grid, cells []int, patch Patch) *Area {
	in := make([]bool, g.Rows*g.Columns)
	a := &Area{grid: g}
	for _, c := range cells {
		in[c] = true
		a.cells = append(a.cells, int32(c))
	}
	for _, c := range cells {
		if c%g.Columns+1 < g.Columns && in[c+1] {
			a.right = append(a.right, int32(c))
		}
		if c+g.Columns < len(in) && in[c+g.Columns] {
			a.below = append(a.below, int32(c))
		}
	}
	for _, p := range patch.turned(g.PitchMM) {
		a.beds = append(a.beds, bed{p, a.lay(p, in)})
	}
	return a
}

// lay finds where p lies within the cells that are in.
func (a *Area) lay(p Patch, in []bool) (tops []int32) {
	for _, c := range a.cells {
		row, column := int(c)/a.grid.Columns, int(c)%a.grid.Columns
		if row+p.Rows > a.grid.Rows || column+p.Columns > a.grid.Columns {
			continue
		}
		whole := true
		for r := range p.Rows {
			first := int(c) + r*a.grid.Columns
			whole = whole && !slices.Contains(in[first:first+p.Columns], false)
		}
		if whole {
			tops = append(tops, c)
		}
	}
	return tops
}

// A Measure is what an area measures at one instant. Figures that the known
// cells do not give are NaN.
type Measure struct {
	Cells   int     // of the area
	Known   int     // of them that have a value; the rest was left out
	Contact int     // of them that are above Above
	Above   float64 // mmHg, the threshold of contact

	Peak      float64 // mmHg
	Index     float64 // mmHg, peak pressure index
	Mean      float64 // mmHg, of the cells in contact; 0 without any
	AreaCM2   float64 // in contact
	Sum       float64 // mmHg, of all known cells
	Newtons   float64 // the load
	X, Y      float64 // cm: centre of pressure, along the rows and down the columns
	Variation float64 // percent, population
	Gradient  float64 // mmHg/cm
}

// newtonsPerMMHgMM2 turns mmHg × mm² into newtons.
var newtonsPerMMHgMM2 = sample.MMHg(1).Pascals() * 1e-6

// Measure measures values, which has one entry for each cell of the grid, in
// mmHg, NaN where unknown. A cell above contact is in contact.
func (a *Area) Measure(values []float64, contact float64) Measure {
	nan := math.NaN()
	m := Measure{Cells: len(a.cells), Above: contact, Peak: nan, Index: nan, Mean: nan, AreaCM2: nan, Sum: nan, Newtons: nan, X: nan, Y: nan, Variation: nan, Gradient: nan}
	var sum, pressing, touching, squares, sumX, sumY float64
	peak := math.Inf(-1)
	for _, c := range a.cells {
		v := values[c]
		if v != v {
			continue
		}
		m.Known++
		sum += v
		peak = max(peak, v)
		if v > 0 {
			row := int(c) / a.grid.Columns
			pressing += v
			sumX += v * (float64(int(c)-row*a.grid.Columns) + 0.5)
			sumY += v * (float64(row) + 0.5)
		}
		if v > contact {
			m.Contact++
			touching += v
		}
	}
	if m.Known == 0 {
		return m
	}
	cell := a.grid.PitchMM[0] * a.grid.PitchMM[1] // mm²
	m.Peak, m.Mean = peak, 0
	m.Sum, m.AreaCM2, m.Newtons = sum, float64(m.Contact)*cell/100, sum*cell*newtonsPerMMHgMM2
	if pressing > 0 {
		m.X, m.Y = sumX/pressing*a.grid.PitchMM[1]/10, sumY/pressing*a.grid.PitchMM[0]/10
	}
	if m.Contact > 0 {
		m.Mean = touching / float64(m.Contact)
		for _, c := range a.cells {
			if d := values[c] - m.Mean; values[c] > contact {
				squares += d * d
			}
		}
		m.Variation = 100 * math.Sqrt(squares/float64(m.Contact)) / m.Mean
	}
	m.Index = a.index(values, sum/float64(m.Known))
	m.Gradient = max(steepest(values, a.right, 1)/(a.grid.PitchMM[1]/10), steepest(values, a.below, a.grid.Columns)/(a.grid.PitchMM[0]/10))
	return m
}

// index is the peak pressure index; mean stands for it where no patch fits.
func (a *Area) index(values []float64, mean float64) float64 {
	best, fits := math.Inf(-1), false
	for _, b := range a.beds {
		n := b.patch.Rows * b.patch.Columns
		for _, top := range b.tops {
			fits = true
			sum, known := 0.0, 0
			for r := range b.patch.Rows {
				first := int(top) + r*a.grid.Columns
				for _, v := range values[first : first+b.patch.Columns] {
					if v == v {
						sum += v
						known++
					}
				}
			}
			if 2*known >= n {
				best = max(best, sum/float64(known))
			}
		}
	}
	switch {
	case !fits:
		return mean
	case math.IsInf(best, -1):
		return math.NaN()
	}
	return best
}

// steepest is the greatest difference between a cell and the one that follows
// it by step; 0 where no two neighbours are known.
func steepest(values []float64, cells []int32, step int) float64 {
	most := 0.0
	for _, c := range cells {
		if d := math.Abs(values[c] - values[int(c)+step]); d > most {
			most = d
		}
	}
	return most
}

// Share returns which part of the load of whole the load of m is, in percent;
// NaN where there is no load.
func (m *Measure) Share(whole *Measure) float64 {
	if !(whole.Sum > 0) {
		return math.NaN()
	}
	return 100 * m.Sum / whole.Sum
}
