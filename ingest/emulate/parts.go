package emulate

import "math"

// A part is a spot of a body that bears weight: a smooth hill of pressure.
type part struct {
	along  float64 // centre, 0 at the first row's edge to 1 at the last row's
	across float64 // centre, -1 left to 1 right
	long   float64 // half extent along, in the same measure
	wide   float64 // half extent across, in the same measure
	peak   float64 // mmHg under a person of middling weight
}

// press adds the part, moved and weighted, to cells.
func (p part) press(cells []float64, rows, columns int, moveAlong, moveAcross, weight float64) {
	for row := range rows {
		dy := square((along(row, rows) - p.along - moveAlong) / p.long)
		if dy > 8 {
			continue
		}
		for column := range columns {
			x := 2*along(column, columns) - 1
			d := dy + square((x-p.across-moveAcross)/p.wide)
			if d < 8 {
				cells[row*columns+column] += p.peak * weight * math.Exp(-d)
			}
		}
	}
}

// bodies has the parts of each posture. The peaks lie within what is reported
// of ordinary mattresses; the rest is drawn by eye.
var bodies = [...][]part{
	Empty: nil,
	Supine: {
		{0.06, 0, 0.035, 0.18, 44},
		{0.19, -0.28, 0.050, 0.16, 31}, {0.19, 0.28, 0.050, 0.16, 31},
		{0.25, 0, 0.080, 0.30, 19},
		{0.36, 0, 0.050, 0.25, 11},
		{0.46, 0, 0.045, 0.17, 44},
		{0.49, -0.25, 0.050, 0.18, 30}, {0.49, 0.25, 0.050, 0.18, 30},
		{0.61, -0.24, 0.090, 0.13, 21}, {0.61, 0.24, 0.090, 0.13, 21},
		{0.78, -0.22, 0.070, 0.09, 19}, {0.78, 0.22, 0.070, 0.09, 19},
		{0.93, -0.20, 0.022, 0.08, 54}, {0.93, 0.20, 0.022, 0.08, 54},
	},
	OnLeft:  side, // mirrored where it is drawn
	OnRight: side,
}

// side is a body on its right side, seen from above, knees drawn up a little.
var side = []part{
	{0.06, -0.05, 0.035, 0.15, 43},
	{0.18, 0, 0.040, 0.14, 46},
	{0.29, 0.06, 0.080, 0.14, 24},
	{0.47, 0.06, 0.050, 0.16, 50},
	{0.58, -0.15, 0.080, 0.12, 26},
	{0.68, -0.32, 0.040, 0.12, 30},
	{0.79, -0.26, 0.060, 0.09, 17},
	{0.91, -0.20, 0.025, 0.08, 41},
}
