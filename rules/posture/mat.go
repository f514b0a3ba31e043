package posture

import "math"

// A Mat says how the cells of a map lie under a person. Cells are numbered row
// by row.
type Mat struct {
	Rows, Columns int        // >= 1
	PitchMM       [2]float64 // from row to row and from column to column; 0 where not known
	Head          Edge       // at the person's head

	// FromBelow says that the map shows the mat as from below, or that its
	// cables make it so: what is the left of the map is then the right of the
	// bed as it is seen from above.
	FromBelow bool
}

// An Edge is one of the four edges of a map, row 0 at the top and column 0 at
// the left.
type Edge uint8

// The edges.
const (
	FirstRow Edge = iota
	LastRow
	FirstColumn
	LastColumn
)

// A bed that does not state its pitch is taken to be this long and wide, in mm:
// common practice, no source.
const (
	usualLength = 1900.0
	usualWidth  = 850.0
)

// An upright map is a mat turned so that the head is at the top and the left of
// the person who lies supine is at the right, as seen from above.
type upright struct {
	rows, columns   int
	along, across   float64 // pitch in mm from head to feet, and from side to side
	first, down, on int     // index of the top left cell; steps to the next row and column
}

func (m *Mat) upright() upright {
	u := upright{rows: m.Rows, columns: m.Columns, along: m.PitchMM[0], across: m.PitchMM[1], down: m.Columns, on: 1}
	last := m.Rows*m.Columns - 1
	switch m.Head {
	case LastRow: // half a turn
		u.first, u.down, u.on = last, -m.Columns, -1
	case FirstColumn: // a quarter: the left edge comes to the top, the last row to the left
		u.first, u.down, u.on = (m.Rows-1)*m.Columns, 1, -m.Columns
	case LastColumn: // a quarter the other way
		u.first, u.down, u.on = m.Columns-1, -1, m.Columns
	}
	if m.Head == FirstColumn || m.Head == LastColumn {
		u.rows, u.columns, u.along, u.across = m.Columns, m.Rows, u.across, u.along
	}
	if m.FromBelow {
		u.first += u.on * (u.columns - 1)
		u.on = -u.on
	}
	if !(u.along > 0) || math.IsInf(u.along, 0) {
		u.along = usualLength / float64(u.rows)
	}
	if !(u.across > 0) || math.IsInf(u.across, 0) {
		u.across = usualWidth / float64(u.columns)
	}
	return u
}

// A View is a map seen upright: the head, on a seat the back, at the top, and
// the left of the person at the right, as seen from above.
type View struct {
	Rows, Columns     int
	AlongMM, AcrossMM float64 // pitch from top to bottom and from side to side, a usual one where not known
	u                 upright
}

// View returns the mat's map seen upright.
func (m *Mat) View() View {
	u := m.upright()
	return View{Rows: u.rows, Columns: u.columns, AlongMM: u.along, AcrossMM: u.across, u: u}
}

// Cell returns the number of a cell of the map, by its row and column in the view.
func (v *View) Cell(row, column int) int { return v.u.first + row*v.u.down + column*v.u.on }

// Pitch returns the distance of rows and of columns in mm, a usual one where the
// mat does not state it.
func (m *Mat) Pitch() (rows, columns float64) {
	u := m.upright()
	if m.Head == FirstColumn || m.Head == LastColumn {
		return u.across, u.along
	}
	return u.along, u.across
}

// The least of a mat that shows how somebody lies: cells along and across the
// body, and mm along it. Our own choice, no source.
const (
	leastAlong, leastAcross = 10, 6
	leastLength             = 1000.0
)

// Shows reports whether the mat is large and fine enough to tell positions.
func (m *Mat) Shows() bool {
	u := m.upright()
	return u.rows >= leastAlong && u.columns >= leastAcross && float64(u.rows)*u.along >= leastLength
}
