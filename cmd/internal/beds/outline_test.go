package beds

import (
	"io/fs"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"weald/rules/outline"
)

// The supine recordings on a flat bed by the description of the set: 1, and 8 to
// 12 with arms and legs otherwise.
var flat = []int{1, 8, 9, 10, 11, 12}

// sides are those on a side that are not rolled against a wedge.
var sides = []int{2, 3, 13, 14}

// middles returns one map of each file, from the middle of the recording.
func middles(t *testing.T, dir fs.FS, files ...int) (out []Map) {
	t.Helper()
	subjects, err := Subjects(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range subjects {
		for _, f := range files {
			frames, err := Recording(dir, s, f)
			if err != nil {
				t.Fatal(err)
			}
			out = append(out, frames[len(frames)/2])
		}
	}
	return out
}

func found(a outline.Answer, id string) (outline.Region, bool) {
	i := slices.IndexFunc(a.Found, func(r outline.Region) bool { return r.ID == id })
	if i < 0 {
		return outline.Region{}, false
	}
	return a.Found[i], true
}

// hipLoad is the middle of the 3 by 3 cells with the greatest load in the middle
// third of the mat from head to feet, where nobody's shoulders are.
func hipLoad(m Map) (row, column int) {
	most, v := math.Inf(-1), m.Mat.View()
	for r := v.Rows / 3; r < v.Rows-v.Rows/3; r++ {
		for c := 1; c+1 < v.Columns; c++ {
			sum := 0.0
			for k := range 9 {
				if x := m.Values[v.Cell(r+k/3-1, c+k%3-1)]; !math.IsNaN(x) {
					sum += x
				}
			}
			if sum > most {
				most = sum
				at := v.Cell(r, c)
				row, column = at/m.Mat.Columns, at%m.Mat.Columns
			}
		}
	}
	return row, column
}

func within(r outline.Region, row, column int) bool {
	return r.Rows[0] <= row && row <= r.Rows[1] && r.Columns[0] <= column && column <= r.Columns[1]
}

// Whoever lies on whatever mat, the pelvis that is found bears the greatest load
// of the hips, and it is found; what is not is said.
func TestOutlineOfPeopleInBed(t *testing.T) {
	dir := recordings(t)
	for _, k := range []struct {
		lie     string
		files   []int
		asIs    float64 // of the maps as recorded: the least whose pelvis holds the peak
		altered float64 // and of altered ones in which a pelvis is found
	}{{"supine", flat, 0.95, 0.85}, {"side", sides, 0.95, 0.85}} {
		maps := middles(t, dir, k.files...)
		for i, u := range Table() {
			r := rand.New(rand.NewPCG(3, uint64(i)))
			n := map[string]int{}
			holds := 0
			for _, m := range maps {
				m = u.Alter(r, m)
				a := outline.Bed(&m.Mat, m.Values)
				for _, f := range a.Found {
					n[f.ID]++
				}
				if len(a.Found)+len(a.Missing) != 4 {
					t.Fatalf("%s %d: %d found and %d missing of 4", m.Subject, m.File, len(a.Found), len(a.Missing))
				}
				row, column := hipLoad(m)
				if p, ok := found(a, outline.Pelvis); ok && within(p, row, column) {
					holds++
				} else if i == 0 {
					t.Logf("%s %d: the peak at %d,%d is not in %v", m.Subject, m.File, row, column, a)
				}
			}
			share := float64(holds) / float64(len(maps))
			t.Logf("%-7s %-40s %3d maps: head %3d, shoulders %3d, pelvis %3d, heels %3d; pelvis holds the hips' peak %5.1f %%",
				k.lie, u.Name, len(maps), n[outline.Head], n[outline.Shoulders], n[outline.Pelvis], n[outline.Heels], 100*share)
			if i == 0 && share < k.asIs {
				t.Errorf("%s: the pelvis holds the peak of %.1f %% of the maps", k.lie, 100*share)
			}
			if float64(holds) < k.altered*float64(n[outline.Pelvis]) || 5*n[outline.Pelvis] < 4*len(maps) {
				t.Errorf("%s, %s: %d pelvises found, of which %d hold the peak", k.lie, u.Name, n[outline.Pelvis], holds)
			}
		}
	}
}

// Everything that turns or mirrors the map turns and mirrors what is found, and
// the person's weight is nothing to it.
func TestOutlineTurnsWithTheMap(t *testing.T) {
	for _, m := range middles(t, recordings(t), 1, 2, 3) {
		plain := outline.Bed(&m.Mat, m.Values)
		rows, columns := m.Mat.Rows, m.Mat.Columns
		turned := func(change Alteration, want func(outline.Region) outline.Region) {
			t.Helper()
			c := change(nil, m)
			got := outline.Bed(&c.Mat, c.Values)
			for i, r := range plain.Found {
				if w := want(r); len(got.Found) != len(plain.Found) || got.Found[i].Rows != w.Rows || got.Found[i].Columns != w.Columns {
					t.Errorf("%s %d: %v became %v", m.Subject, m.File, r, got)
					return
				}
			}
		}
		flip := func(span [2]int, n int) [2]int { return [2]int{n - 1 - span[1], n - 1 - span[0]} }
		turned(Mirror, func(r outline.Region) outline.Region { r.Columns = flip(r.Columns, columns); return r })
		turned(Load(4), func(r outline.Region) outline.Region { return r })
		turned(Turned, func(r outline.Region) outline.Region {
			r.Rows, r.Columns = flip(r.Rows, rows), flip(r.Columns, columns)
			return r
		})
		turned(Crosswise, func(r outline.Region) outline.Region {
			r.Rows, r.Columns = r.Columns, flip(r.Rows, rows)
			return r
		})
	}
}

// A head that is said to be where the feet are is not taken for one.
func TestOutlineTheWrongWayRound(t *testing.T) {
	wrong := 0
	maps := middles(t, recordings(t), append(slices.Clone(flat), sides...)...)
	for _, m := range maps {
		c := Turned(nil, m)
		c.Mat.Head = m.Mat.Head
		if a := outline.Bed(&c.Mat, c.Values); len(a.Found) > 0 {
			wrong++
			t.Logf("%s %d: %v", m.Subject, m.File, a)
		}
	}
	t.Logf("%d of %d are taken for bodies", wrong, len(maps))
	if 50*wrong > len(maps) {
		t.Errorf("%d of %d bodies are found the wrong way round", wrong, len(maps))
	}
}

// The same person who lies supine again, arms or one leg otherwise, has the pelvis
// where it was, within a hand's breadth.
func TestOutlineOfOnePersonAgain(t *testing.T) {
	const hand = 100.0 // mm, from memory
	of := map[string][]float64{}
	maps := middles(t, recordings(t), 8, 9, 11, 12)
	for _, m := range maps {
		if p, ok := found(outline.Bed(&m.Mat, m.Values), outline.Pelvis); ok {
			of[m.Subject] = append(of[m.Subject], float64(p.Rows[0]+p.Rows[1])/2*m.Mat.PitchMM[0])
		}
	}
	for subject, at := range of {
		if d := slices.Max(at) - slices.Min(at); len(at) != 4 || d > hand {
			t.Errorf("%s: pelvis found in %d of 4, %.0f mm apart", subject, len(at), d)
		}
	}
}
