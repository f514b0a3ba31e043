package outline

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"weald/rules/posture"
)

// A sitter is invented: two bones, two thighs, and a back that leans.
type sitter struct {
	boneRow        float64 // mm from the back edge
	apart          float64 // mm
	middle         float64 // mm from the left edge of the sheet
	bone, thigh    float64 // mmHg
	slouch         float64 // mmHg between and behind the bones
	leftRow, lefts float64 // mm that the left bone is further forward; mmHg more on it
}

// on draws the sitter onto a seat of 20 by 20 cells of 22 mm, back at the top.
func (p sitter) on() []float64 {
	const n, pitch = 20, 22.0
	out := make([]float64, n*n)
	bell := func(y, x, cy, cx, sy, sx float64) float64 {
		return math.Exp(-((y-cy)*(y-cy)/(2*sy*sy) + (x-cx)*(x-cx)/(2*sx*sx)))
	}
	for i := range out {
		y, x := (float64(i/n)+0.5)*pitch, (float64(i%n)+0.5)*pitch
		v := p.bone * bell(y, x, p.boneRow, p.middle-p.apart/2, 28, 28)
		v += (p.bone + p.lefts) * bell(y, x, p.boneRow+p.leftRow, p.middle+p.apart/2, 28, 28)
		v += p.slouch * bell(y, x, p.boneRow-80, p.middle, 25, 20)
		for _, side := range []float64{-1, 1} {
			v += p.thigh * bell(y, x, p.boneRow+160, p.middle+side*90, 75, 40)
		}
		out[i] = v
	}
	return out
}

var ordinary = sitter{boneRow: 130, apart: 120, middle: 220, bone: 110, thigh: 35, slouch: 30}

var chair = posture.Mat{Rows: 20, Columns: 20, PitchMM: [2]float64{22, 22}}

func get(t rapid.TB, a Answer, id string) Region {
	t.Helper()
	i := slices.IndexFunc(a.Found, func(r Region) bool { return r.ID == id })
	if i < 0 {
		t.Fatalf("no %s: %+v", id, a)
	}
	return a.Found[i]
}

func (r Region) holds(row, column int) bool {
	return r.Rows[0] <= row && row <= r.Rows[1] && r.Columns[0] <= column && column <= r.Columns[1]
}

// The bones were drawn at 130 mm from the back, 60 mm to either side of 220 mm:
// row 5, columns 7 and 12. The left of somebody who looks down the page is at the
// right of it.
func TestSeat(t *testing.T) {
	for _, k := range []struct {
		name string
		is   sitter
		row  [2]int // of the left and the right bone
	}{
		{"ordinary", ordinary, [2]int{5, 5}},
		{"leaning to the left", with(func(p *sitter) { p.lefts = 40 }), [2]int{5, 5}},
		{"a little aslant", with(func(p *sitter) { p.leftRow = 44 }), [2]int{7, 5}},
		{"light", with(func(p *sitter) { p.bone, p.thigh, p.slouch = 11, 3.5, 3 }), [2]int{5, 5}},
	} {
		a := Seat(&chair, k.is.on())
		left, right := get(t, a, IschialLeft), get(t, a, IschialRight)
		if !left.holds(k.row[0], 12) || !right.holds(k.row[1], 7) || left.holds(k.row[1], 7) || right.holds(k.row[0], 12) {
			t.Errorf("%s: left %v, right %v", k.name, left, right)
		}
		if s := get(t, a, Sacrum); !s.holds(2, 9) || s.Rows[1] >= left.Rows[0] {
			t.Errorf("%s: sacrum %v behind %v", k.name, s, left)
		}
		if l, r := get(t, a, ThighLeft), get(t, a, ThighRight); !l.holds(13, 14) || !r.holds(13, 5) {
			t.Errorf("%s: thighs %v and %v", k.name, l, r)
		}
		if overlap(a.Found) {
			t.Errorf("%s: regions overlap: %v", k.name, a.Found)
		}
	}
}

func overlap(list []Region) bool {
	seen := map[[2]int]bool{}
	for _, r := range list {
		for row := r.Rows[0]; row <= r.Rows[1]; row++ {
			for c := r.Columns[0]; c <= r.Columns[1]; c++ {
				if seen[[2]int{row, c}] {
					return true
				}
				seen[[2]int{row, c}] = true
			}
		}
	}
	return false
}

func with(change func(*sitter)) sitter {
	p := ordinary
	change(&p)
	return p
}

func TestSeatThatShowsNoBones(t *testing.T) {
	flat := make([]float64, 400)
	for i := range flat {
		flat[i] = 40
	}
	unknown := ordinary.on()
	for i := range 300 {
		unknown[i] = math.NaN()
	}
	for _, k := range []struct {
		name   string
		mat    posture.Mat
		values []float64
		why    string
	}{
		{"nobody", chair, make([]float64, 400), "nobody sits"},
		{"a bag of flour", chair, flat, "stand out"},
		{"cells that are silent", chair, unknown, "are known"},
		{"sideways", chair, with(func(p *sitter) { p.leftRow = 110 }).on(), "aslant"},
		{"four cells", posture.Mat{Rows: 2, Columns: 2}, []float64{1, 2, 3, 4}, "too coarse"},
	} {
		a := Seat(&k.mat, k.values)
		if len(a.Found) != 0 || len(a.Missing) != 5 || !strings.Contains(a.Missing[0].Why, k.why) {
			t.Errorf("%s: %+v, want none, for %q", k.name, a, k.why)
		}
	}
}

// What is no body in a bed is not taken for one, and no map makes it panic.
func TestBedThatShowsNobody(t *testing.T) {
	bed := posture.Mat{Rows: 64, Columns: 32, PitchMM: [2]float64{28, 25}}
	fill := func(f func(row, column int) float64) []float64 {
		out := make([]float64, 64*32)
		for i := range out {
			out[i] = f(i/32, i%32)
		}
		return out
	}
	for _, k := range []struct {
		name   string
		mat    posture.Mat
		values []float64
		why    string
	}{
		{"nobody", bed, fill(func(int, int) float64 { return 0 }), "nobody lies"},
		{"unknown", bed, fill(func(int, int) float64 { return math.NaN() }), "are known"},
		{"a parcel", bed, fill(func(r, c int) float64 {
			if r > 20 && r < 30 && c > 10 && c < 20 {
				return 50
			}
			return 0
		}), "too short"},
		{"somebody the other way round", bed, fill(func(r, c int) float64 { return float64(r) }), "look whether the head"},
		{"a mat of four cells", posture.Mat{Rows: 2, Columns: 2}, []float64{1, 2, 3, 4}, "too small or too coarse"},
	} {
		a := Bed(&k.mat, k.values)
		if len(a.Found) != 0 || len(a.Missing) != 4 || !strings.Contains(a.Missing[0].Why, k.why) {
			t.Errorf("%s: %+v, want none, for %q", k.name, a, k.why)
		}
	}
}

// Whatever is on a mat of whatever size, what is found is on the mat.
func TestAnyMap(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	found := 0
	for range 3000 {
		m := posture.Mat{Rows: 1 + r.IntN(40), Columns: 1 + r.IntN(24), Head: posture.Edge(r.IntN(4)), FromBelow: r.IntN(2) == 0}
		values := make([]float64, m.Rows*m.Columns)
		steps := 1 + r.IntN(4)
		for i := range values {
			// Few steps give patches that are equal, high powers a few high cells.
			values[i] = math.Pow(float64(r.IntN(steps+1))/float64(steps), 4) * 100
			if r.IntN(20) == 0 {
				values[i] = math.NaN()
			}
		}
		for _, a := range []Answer{Bed(&m, values), Seat(&m, values)} {
			for _, f := range a.Found {
				found++
				if f.Rows[0] < 0 || f.Rows[0] > f.Rows[1] || f.Rows[1] >= m.Rows || f.Columns[0] < 0 || f.Columns[0] > f.Columns[1] || f.Columns[1] >= m.Columns {
					t.Fatalf("%+v is not on a mat of %d rows and %d columns", f, m.Rows, m.Columns)
				}
			}
		}
	}
	if found < 100 {
		t.Errorf("%d regions were found: this looks at nothing", found)
	}
}
