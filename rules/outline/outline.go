package outline

import (
	"math"

	"weald/rules/posture"
)

// A Region is a rectangle of cells of the map as the configuration counts them,
// both ends included.
type Region struct {
	ID            string
	Rows, Columns [2]int
	Why           string // what spoke for it
}

// Missing is a region that was looked for.
type Missing struct {
	ID  string
	Why string // what spoke against it
}

// An Answer is what a map shows. Each region that was looked for is in one of
// the two, in the order from the head (on a seat from the back) on.
type Answer struct {
	Found   []Region
	Missing []Missing
}

func (a *Answer) miss(why string, ids ...string) {
	for _, id := range ids {
		a.Missing = append(a.Missing, Missing{id, why})
	}
}

// touch is the part of the typical pressure above which a cell counts as
// touched.
const touch = 0.1

// A sheet is a map upright: cells row by row from the head on, 0 where nothing
// touches.
type sheet struct {
	posture.View
	cells   []float64
	typical float64
	known   int
}

func newSheet(m *posture.Mat, values []float64) *sheet {
	s := &sheet{View: m.View(), cells: make([]float64, len(values))}
	s.typical = mean(values, mean(values, math.SmallestNonzeroFloat64))
	for r := range s.Rows {
		for c := range s.Columns {
			switch v := values[s.Cell(r, c)]; {
			case math.IsNaN(v):
			case v > touch*s.typical:
				s.known++
				s.cells[r*s.Columns+c] = v
			default:
				s.known++
			}
		}
	}
	return s
}

const unknown = "fewer than half of the cells are known"

// blind reports whether too little is known of the map.
func (s *sheet) blind() bool { return 2*s.known < len(s.cells) }

// mean returns the mean of what is at least low, 0 where nothing is.
func mean(values []float64, low float64) float64 {
	sum, n := 0.0, 0
	for _, v := range values {
		if v >= low {
			sum, n = sum+v, n+1
		}
	}
	return sum / float64(max(n, 1))
}

// A box is a rectangle of a sheet, both ends included.
type box struct{ top, bottom, left, right int }

// clipped returns the box's part that is on the sheet.
func (s *sheet) clipped(b box) box {
	return box{max(b.top, 0), min(b.bottom, s.Rows-1), max(b.left, 0), min(b.right, s.Columns-1)}
}

// load adds up a box.
func (s *sheet) load(b box) float64 {
	sum := 0.0
	for r := b.top; r <= b.bottom; r++ {
		for c := b.left; c <= b.right; c++ {
			sum += s.cells[r*s.Columns+c]
		}
	}
	return sum
}

// stray is the part of a box's load that may lie outside of the outline on
// either side: an arm's edge, a fold, a cell that is wrong.
const stray = 0.04

// around narrows a box to the columns that bear its load, and one beside them.
// It reports false for a box without load.
func (s *sheet) around(b box) (box, bool) {
	b = s.clipped(b)
	whole := s.load(b)
	if whole <= 0 {
		return b, false
	}
	bears := func(c int) float64 { return s.load(box{b.top, b.bottom, c, c}) }
	for out := bears(b.left); out < stray*whole && b.left < b.right; out += bears(b.left) {
		b.left++
	}
	for out := bears(b.right); out < stray*whole && b.left < b.right; out += bears(b.right) {
		b.right--
	}
	b.left, b.right = b.left-1, b.right+1
	return s.clipped(b), true
}

// region turns a box back to how the map lies.
func (s *sheet) region(id string, b box, columns int, why string) Region {
	one, other := s.Cell(b.top, b.left), s.Cell(b.bottom, b.right)
	return Region{
		ID: id, Why: why,
		Rows:    ordered(one/columns, other/columns),
		Columns: ordered(one%columns, other%columns),
	}
}

func ordered(a, b int) [2]int { return [2]int{min(a, b), max(a, b)} }
