package beds

import (
	"math"
	"math/rand/v2"
)

// Blur spreads every cell's load by a bell curve of this standard deviation in
// mm, as a soft mattress over the mat does.
func Blur(mm float64) Alteration {
	return func(_ *rand.Rand, m Map) Map {
		rows, columns := m.Mat.Rows, m.Mat.Columns
		across := smear(m.Values, rows, columns, 1, columns, mm/m.Mat.PitchMM[1])
		m.Values = smear(across, columns, rows, columns, 1, mm/m.Mat.PitchMM[0])
		return m
	}
}

// smear filters lines of a map: each has n cells that are step apart, and the
// next line is next further.
func smear(from []float64, lines, n, step, next int, sd float64) []float64 {
	reach := int(math.Ceil(3 * sd))
	bell := make([]float64, 2*reach+1)
	sum := 0.0
	for k := range bell {
		z := float64(k-reach) / max(sd, 1e-9)
		bell[k] = math.Exp(-z * z / 2)
		sum += bell[k]
	}
	out := make([]float64, len(from))
	for l := range lines {
		for i := range n {
			for k, w := range bell {
				if j := i + k - reach; j >= 0 && j < n {
					out[l*next+i*step] += from[l*next+j*step] * w / sum
				}
			}
		}
	}
	return out
}
