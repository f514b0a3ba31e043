package rules

import (
	"math"

	"weald/ingest/sample"
)

// contactAbove is the pressure in mmHg above which a cell counts as touched
// for area and mean: common practice, no source; 5 mmHg is usual.
const contactAbove = 5

// newtonsPerMMHgMM2 turns mmHg x mm2 into newtons.
var newtonsPerMMHgMM2 = sample.MMHg(1).Pascals() * 1e-6

// The quantities of a mat and of each of its regions, in the order of their
// signals.
var areaQuantities = [...]struct{ name, unit string }{
	{"peak", "mmHg"}, // highest cell
	{"mean", "mmHg"}, // of the cells in contact
	{"area", "cm2"},  // of the cells in contact
	{"load", "N"},    // pressure times area of all cells
}

// A tally is what a pass over cells adds up to.
type tally struct {
	known, contact int
	sum, touching  float64 // mmHg, of all cells and of those in contact
	peak           float64
}

var nothing = tally{peak: math.Inf(-1)}

// add takes a run of cells.
func (t *tally) add(values []float64) {
	known, contact, sum, touching, peak := 0, 0, 0.0, 0.0, t.peak
	for _, v := range values {
		if v != v {
			continue
		}
		known++
		sum += v
		if v > contactAbove {
			contact++
			touching += v
		}
		if v > peak {
			peak = v
		}
	}
	t.known += known
	t.contact += contact
	t.sum += sum
	t.touching += touching
	t.peak = peak
}

// merge takes what was counted elsewhere.
func (t *tally) merge(u *tally) {
	t.known += u.known
	t.contact += u.contact
	t.sum += u.sum
	t.touching += u.touching
	t.peak = max(t.peak, u.peak)
}

// An area is a mat or a region of it, with the signals made of its cells.
type area struct {
	signal int      // index of the first of its signals
	runs   [][2]int // its cells as ranges [from, to) of neighbouring indices
	n      int      // how many cells
	cellMM float64  // area of one cell in mm2
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

// tally counts the area's own runs.
func (a *area) tally(values []float64) tally {
	t := nothing
	for _, r := range a.runs {
		t.add(values[r[0]:r[1]])
	}
	return t
}

// signals turns a tally into peak, mean, area and load; all are NaN while fewer
// than half of the cells are known.
func (a *area) signals(t *tally) (q [len(areaQuantities)]float64) {
	if t.known == 0 || 2*t.known < a.n {
		for i := range q {
			q[i] = sample.Unknown
		}
		return q
	}
	q[0] = t.peak
	if t.contact > 0 {
		q[1] = t.touching / float64(t.contact)
	}
	q[2] = float64(t.contact) * a.cellMM / 100
	q[3] = t.sum * a.cellMM * newtonsPerMMHgMM2
	return q
}
