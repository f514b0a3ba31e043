package matstat

import "math"

// The size of a patch in cm² that the peak pressure index asks for.
const (
	patchLeast, patchMost = 9, 10
	patchAim              = (patchLeast + patchMost) / 2.0
)

// A Patch is a rectangle of cells.
type Patch struct{ Rows, Columns int }

// PatchFor returns the patch for cells of the given pitch in mm, from row to
// row and from column to column; a single cell where the pitch is not known.
func PatchFor(pitchMM [2]float64) Patch {
	best, bestMiss, bestSkew := Patch{1, 1}, math.Inf(1), math.Inf(1)
	if !(pitchMM[0] > 0 && pitchMM[1] > 0) {
		return best
	}
	const longest = 60 // mm: no rectangle of 9 to 10 cm² that is worth having is longer
	for rows := 1; rows == 1 || float64(rows)*pitchMM[0] <= longest; rows++ {
		for columns := 1; columns == 1 || float64(columns)*pitchMM[1] <= longest; columns++ {
			p := Patch{rows, columns}
			miss := math.Abs(math.Log(p.CM2(pitchMM) / patchAim))
			skew := math.Abs(math.Log(float64(rows) * pitchMM[0] / (float64(columns) * pitchMM[1])))
			if inside(p.CM2(pitchMM)) {
				miss = 0
			}
			if miss < bestMiss-1e-9 || miss < bestMiss+1e-9 && skew < bestSkew-1e-9 {
				best, bestMiss, bestSkew = p, miss, skew
			}
		}
	}
	return best
}

func inside(cm2 float64) bool { return cm2 >= patchLeast-1e-9 && cm2 <= patchMost+1e-9 }

// CM2 returns the area of the patch in cm².
func (p Patch) CM2(pitchMM [2]float64) float64 {
	return float64(p.Rows*p.Columns) * pitchMM[0] * pitchMM[1] / 100
}

// turned are the two ways to lay a patch that is no square, where cells are as
// long as they are wide.
func (p Patch) turned(pitchMM [2]float64) []Patch {
	if p.Rows != p.Columns && pitchMM[0] == pitchMM[1] {
		return []Patch{p, {p.Columns, p.Rows}}
	}
	return []Patch{p}
}
