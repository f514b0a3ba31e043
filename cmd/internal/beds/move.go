package beds

import (
	"math"
	"math/rand/v2"
)

// A Pose is where on the mat a person lies, and how large they are. The zero
// Pose changes nothing.
type Pose struct {
	Down, Right   float64 // cells
	Longer, Wider float64 // 0.1: by a tenth
	Turn          float64 // radians
}

// Move lets a person lie elsewhere, or makes them larger. What comes onto the
// mat from beyond its edge is empty.
func Move(p Pose) Alteration {
	return func(_ *rand.Rand, m Map) Map { return p.move(m) }
}

func (p Pose) move(m Map) Map {
	rows, columns := m.Mat.Rows, m.Mat.Columns
	from := m.Values
	midRow, midColumn := float64(rows-1)/2, float64(columns-1)/2
	sin, cos := math.Sincos(p.Turn)
	along, across := m.Mat.PitchMM[0], m.Mat.PitchMM[1]
	return each(m, func(i int, _ float64) float64 {
		y := (float64(i/columns) - midRow - p.Down) * along
		x := (float64(i%columns) - midColumn - p.Right) * across
		y, x = (y*cos-x*sin)/(1+p.Longer), (y*sin+x*cos)/(1+p.Wider)
		return between(from, rows, columns, y/along+midRow, x/across+midColumn)
	})
}

// between reads a map between its cells. An unknown cell beside makes it unknown.
func between(from []float64, rows, columns int, y, x float64) float64 {
	r, c := int(math.Floor(y)), int(math.Floor(x))
	fy, fx := y-float64(r), x-float64(c)
	at := func(r, c int) float64 {
		if r < 0 || r >= rows || c < 0 || c >= columns {
			return 0
		}
		return from[r*columns+c]
	}
	return (1-fy)*((1-fx)*at(r, c)+fx*at(r, c+1)) + fy*((1-fx)*at(r+1, c)+fx*at(r+1, c+1))
}

// Sway moves each row sideways, by a wave of so many mm along the bed: knees
// that are drawn up less or more, a back that is bent.
func Sway(mm float64) Alteration {
	return func(r *rand.Rand, m Map) Map {
		rows, columns := m.Mat.Rows, m.Mat.Columns
		waves, begin := 0.5+r.Float64(), 2*math.Pi*r.Float64()
		from := m.Values
		return each(m, func(i int, _ float64) float64 {
			row := i / columns
			by := mm / m.Mat.PitchMM[1] * math.Sin(begin+2*math.Pi*waves*float64(row)/float64(rows))
			return between(from, rows, columns, float64(row), float64(i%columns)-by)
		})
	}
}
