package rules

import (
	"weald/ingest/sample"
	"weald/rules/matstat"
)

// contactAbove is the pressure in mmHg above which a cell counts as touched
// for area and mean: common practice, no source; 5 mmHg is usual.
const contactAbove = 5

// The quantities of a mat and of each of its regions, in the order of their
// signals.
var areaQuantities = [...]struct{ name, unit string }{
	{"peak", "mmHg"}, // highest cell
	{"mean", "mmHg"}, // of the cells in contact
	{"area", "cm2"},  // of the cells in contact
	{"load", "N"},    // pressure times area of all cells
}

// An area is a mat or a region of it, with the signals made of its cells.
type area struct {
	signal int      // index of the first of its signals
	runs   [][2]int // its cells as ranges [from, to) of neighbouring indices
	n      int      // how many cells
	cellMM float64  // area of one cell in mm2
	doubt  doubt    // of its present cells
}

// runsOf joins ascending indices into ranges.
func runsOf(cells []int) (runs [][2]int) {
	for _, c := range cells {
		if n := len(runs); n > 0 && runs[n-1][1] == c {
			runs[n-1][1]++
			continue
		}
		runs = append(runs, [2]int{c, c + 1})
	}
	return runs
}

// signals picks peak, mean, area and load of what an area measures; all are NaN
// while fewer than half of the cells are known.
func (a *area) signals(m *matstat.Measure) (q [len(areaQuantities)]float64) {
	if m.Known == 0 || 2*m.Known < a.n {
		for i := range q {
			q[i] = sample.Unknown
		}
		return q
	}
	return [...]float64{m.Peak, m.Mean, m.AreaCM2, m.Newtons}
}
