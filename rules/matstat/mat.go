package matstat

import "slices"

// A Mat measures a grid and parts of it together, in as few passes over its cells
// as that takes: areas may overlap, and no cell is added up twice for it.
//
// The grid is cut into strips, which are neighbouring cells of one row that
// belong to the same areas. What a pass finds of a strip goes into the set of
// areas that it belongs to, and sets are put together into areas at the end. It
// belongs to one goroutine, and allocates nothing once made.
type Mat struct {
	grid   Grid
	areas  []area
	strips []strip
	links  []link
	sets   []set
	xs     []float64 // by column: where its middle is, in cells

	contact float64 // of the last Tally

	sums  []float64 // scratch, one a column
	known []int32
}

// An area is one of the parts.
type area struct {
	now    Measure // what it measured last
	sets   []int32 // those of its strips, and of links within it
	strips []int32
	beds   []bed
	total  total
}

// A strip is neighbouring cells of one row that belong to the same areas.
type strip struct {
	from, to int32 // cells
	column   int32 // of the first
	row      int32
	set      int32

	// By the last Tally: no known cell is above high, which is one of them, or
	// below least, and whether any is in contact.
	high, least float64
	contact     bool
}

// A link is pairs of neighbours that lie in different strips, and that belong to
// the same areas: a cell and the one that follows it by step.
type link struct {
	from, to int32
	step     int32
	way      int32 // 0 along the row, 1 down the column
	set      int32
	a, b     int32 // the strips
}

// A set stands for the areas that strips or links belong to.
type set struct {
	areas []int32 // ascending

	// By the last Tally.
	total total

	// By the last Detail.
	steep [2]float64 // mmHg², of the greatest difference along rows and down columns
}

// New prepares areas of a grid, each given by its cells (indices row by row,
// ascending), for measuring with the given patch.
func New(g Grid, areas [][]int, patch Patch) *Mat {
	m := &Mat{grid: g, areas: make([]area, len(areas)), xs: make([]float64, g.Columns), sums: make([]float64, g.Columns), known: make([]int32, g.Columns)}
	for c := range m.xs {
		m.xs[c] = float64(c) + 0.5
	}
	of := m.divide(areas)
	m.cut(of)
	m.join()
	for s := range m.sets {
		for _, a := range m.sets[s].areas {
			m.areas[a].sets = append(m.areas[a].sets, int32(s))
		}
	}
	for k := range m.strips {
		for _, a := range m.sets[m.strips[k].set].areas {
			m.areas[a].strips = append(m.areas[a].strips, int32(k))
		}
	}
	for a, cells := range areas {
		m.areas[a].now = nothing
		m.areas[a].now.Cells = len(cells)
		in := make([]bool, g.Rows*g.Columns)
		for _, c := range cells {
			in[c] = true
		}
		for _, p := range patch.turned(g.PitchMM) {
			m.areas[a].beds = append(m.areas[a].beds, lay(g, in, p))
		}
	}
	return m
}

// none is the set of what belongs to no area.
const none = 0

// divide makes the sets of areas that cells belong to, and returns each cell's.
func (m *Mat) divide(areas [][]int) (of []int32) {
	of = make([]int32, m.grid.Rows*m.grid.Columns)
	m.sets = []set{{}}
	for a, cells := range areas {
		with := map[int32]int32{} // the set that has this area as well
		for _, c := range cells {
			was := of[c]
			if _, ok := with[was]; !ok {
				with[was] = m.setOf(append(slices.Clone(m.sets[was].areas), int32(a)))
			}
			of[c] = with[was]
		}
	}
	return of
}

// setOf returns the set that stands for the given areas.
func (m *Mat) setOf(areas []int32) int32 {
	i := slices.IndexFunc(m.sets, func(s set) bool { return slices.Equal(s.areas, areas) })
	if i < 0 {
		i = len(m.sets)
		m.sets = append(m.sets, set{areas: areas})
	}
	return int32(i)
}

// cut makes the strips.
func (m *Mat) cut(of []int32) {
	for c := range of {
		row, column := int32(c/m.grid.Columns), int32(c%m.grid.Columns)
		if n := len(m.strips); column > 0 && of[c] == of[c-1] && of[c] != none {
			m.strips[n-1].to++
		} else if of[c] != none {
			m.strips = append(m.strips, strip{from: int32(c), to: int32(c) + 1, column: column, row: row, set: of[c]})
		}
	}
}

// join makes the links.
func (m *Mat) join() {
	for a := range m.strips {
		s := &m.strips[a]
		for b := a + 1; b < len(m.strips) && m.strips[b].row <= s.row+1; b++ {
			t := &m.strips[b]
			step, way := int32(1), int32(0)
			from, to := s.to-1, s.to
			if t.row == s.row {
				if t.from != s.to {
					continue
				}
			} else {
				step, way = int32(m.grid.Columns), 1
				from, to = max(s.from, t.from-step), min(s.to, t.to-step)
			}
			both := slices.DeleteFunc(slices.Clone(m.sets[s.set].areas), func(i int32) bool { return !slices.Contains(m.sets[t.set].areas, i) })
			if from < to && len(both) > 0 {
				m.links = append(m.links, link{from, to, step, way, m.setOf(both), int32(a), int32(b)})
			}
		}
	}
}

// Of returns what an area measured last, by its place among those of New.
func (m *Mat) Of(area int) *Measure { return &m.areas[area].now }
