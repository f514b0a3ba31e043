package posture

import (
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"

	"gonum.org/v1/gonum/floats"
	"pgregory.net/rapid"
)

// at returns a bin of a layer of a picture.
func at(pic []float64, layer, row, column int) float64 { return pic[(layer*tall+row)*wide+column] }

// drawKnown draws a map of which all is known.
func drawKnown(t *rapid.T) (Mat, []float64) {
	m, values := drawMap(t)
	for i, v := range values {
		if v != v {
			values[i] = 7
		}
	}
	return m, values
}

// A single cell in the middle, by hand: it falls between four bins, a quarter into each,
// and where four are alike each is half of what has a length of 1. A cell of twice the
// height is two that lie in the rows above and below the middle: the same picture.
func TestASingleCell(t *testing.T) {
	for _, pitch := range [][2]float64{{100, 60}, {200, 60}, {100, 120}, {200, 120}} {
		pic, ok := New(Mat{Rows: 1, Columns: 1, PitchMM: pitch}).Picture([]float64{5})
		if !ok {
			t.Fatalf("of a cell of %v mm nothing is seen", pitch)
		}
		for layer := range layers {
			for _, bin := range [][2]int{{10, 6}, {10, 7}, {11, 6}, {11, 7}} {
				if v := at(pic, layer, bin[0], bin[1]); math.Abs(v-0.5) > 1e-12 {
					t.Errorf("%v mm: bin %v of layer %d is %v, want a half", pitch, bin, layer, v)
				}
			}
		}
		if norm := floats.Norm(pic, 1); math.Abs(norm-4) > 1e-12 {
			t.Errorf("%v mm: the bins add up to %v, want 4", pitch, norm)
		}
	}
}

// Each layer of a picture has a length of 1, and no bin is less than nothing; the middle of
// the load is on the mat.
func TestLayersHaveALengthOfOne(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, values := drawMap(t)
		rec := New(m)
		pic, ok := rec.Picture(values)
		if !ok {
			t.Skip("nothing to be seen")
		}
		n := len(pic) / layers
		for layer := range layers {
			one := pic[layer*n : (layer+1)*n]
			if norm := floats.Norm(one, 2); math.Abs(norm-1) > 1e-9 || floats.Min(one) < 0 {
				t.Fatalf("layer %d has a length of %v, and %v in it", layer, norm, floats.Min(one))
			}
		}
		v := m.View()
		if _, along, across := rec.Last(); !(along > 0 && along < float64(v.Rows)*v.AlongMM && across > 0 && across < float64(v.Columns)*v.AcrossMM) {
			t.Fatalf("the middle is at %v and %v mm of %+v", along, across, v)
		}
	})
}

// Pictures do not depend on the unit: of twice, or half, of everything the picture is the
// same to the last bit, as doubling rounds nothing that a float can hold, and squares of.
func TestTheUnitDoesNotMatterToTheLastBit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, values := drawMap(t)
		by := math.Ldexp(1, rapid.IntRange(-40, 40).Draw(t, "doublings"))
		scaled := make([]float64, len(values))
		for i, v := range values {
			if math.Abs(v) < 1e-100 {
				values[i] = 0
			}
			scaled[i] = by * values[i]
		}
		one, ok := New(m).Picture(values)
		other, also := New(m).Picture(scaled)
		if ok != also || ok && !slices.Equal(one, other) {
			t.Fatalf("times %v: seen %v and %v, the pictures are %v apart", by, ok, also, floats.Distance(one, other, math.Inf(1)))
		}
	})
}

// A mirror turns the picture round, left for right, and where its middle is.
func TestTheMirrorOfAPicture(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, values := drawKnown(t)
		below := m
		below.FromBelow = !m.FromBelow
		one, other := New(m), New(below)
		pic, ok := one.Picture(values)
		flipped, also := other.Picture(values)
		if ok != also {
			t.Fatalf("seen %v, in a mirror %v", ok, also)
		}
		if !ok {
			return
		}
		for layer := range layers {
			for r := range tall {
				for c := range wide {
					if a, b := at(pic, layer, r, c), at(flipped, layer, r, wide-1-c); !(math.Abs(a-b) < 1e-9) {
						t.Fatalf("layer %d, row %d, column %d: %v, in a mirror %v", layer, r, c, a, b)
					}
				}
			}
		}
		v := m.View()
		_, along, across := one.Last()
		_, y, x := other.Last()
		if width := float64(v.Columns) * v.AcrossMM; math.Abs(along-y) > 1e-6 || math.Abs(across+x-width) > 1e-6 {
			t.Fatalf("the middle is at %v, %v, in a mirror at %v, %v of %v mm", along, across, y, x, width)
		}
	})
}

// An unknown cell takes its neighbour's value: where all press alike, dead cells change not
// a bit, however many, as long as one of the first row is known before them.
func TestDeadCellsAmongTheirLikes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := Mat{Rows: rapid.IntRange(1, 14).Draw(t, "rows"), Columns: rapid.IntRange(1, 14).Draw(t, "columns"), PitchMM: [2]float64{90, 40}}
		values := slices.Repeat([]float64{30}, m.Rows*m.Columns)
		want, _ := New(m).Picture(values)
		for i := range values[1:] {
			if rapid.Bool().Draw(t, "dead") {
				values[i+1] = math.NaN()
			}
		}
		if got, ok := New(m).Picture(values); !ok || !slices.Equal(got, want) {
			t.Fatalf("with dead cells in %+v the picture is another: %v", m, values)
		}
	})
}

// What is light and everywhere, as bedding is, and single cells that are stuck at eight
// times what the hardest should be, move a picture by less than what makes another pattern
// of it (0.06, package turning), and a few dead cells by far less.
func TestWhatHardlyMovesAPicture(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	m := Mat{Rows: 64, Columns: 32, PitchMM: [2]float64{28, 25}}
	for range 20 {
		v := lying(r, 4*r.NormFloat64())
		want := slices.Clone(must(New(m).Picture(v)))
		bedded, stuck, dead := slices.Clone(v), slices.Clone(v), slices.Clone(v)
		light := 0.05 * usual(v)
		for i := range bedded {
			bedded[i] += light
			if r.IntN(20) == 0 {
				dead[i] = math.NaN()
			}
		}
		for range 3 {
			stuck[r.IntN(len(stuck))] = 8 * slices.Max(v)
		}
		for what, c := range map[string]struct {
			values []float64
			most   float64
		}{"bedding": {bedded, 0.06}, "stuck cells": {stuck, 0.06}, "dead cells": {dead, 0.006}} {
			if d := Distance(want, must(New(m).Picture(c.values))); !(d < c.most) {
				t.Errorf("%s move it by %v", what, d)
			}
		}
	}
}

func must(pic []float64, ok bool) []float64 {
	if !ok {
		panic("nothing to be seen")
	}
	return pic
}

// A distance is a quarter of the square of that of the two pictures as points, so that no
// way round is shorter than the straight one; of those that have no bin in common it is 1.
func TestDistanceIsThatOfPoints(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, values := drawMap(t)
		var pics [3][]float64
		for i := range pics {
			pic, ok := New(m).Picture(values)
			if !ok {
				t.Skip("nothing to be seen")
			}
			pics[i] = pic
			values = rapid.SliceOfN(rapid.Float64Range(0, 80), len(values), len(values)).Draw(t, "values")
		}
		for i, a := range pics {
			b, c := pics[(i+1)%3], pics[(i+2)%3]
			d, apart := Distance(a, b), floats.Distance(a, b, 2)
			if math.Abs(d-apart*apart/4) > 1e-9 {
				t.Fatalf("distance %v, %v as points", d, apart)
			}
			if math.Sqrt(Distance(a, c)) > math.Sqrt(d)+math.Sqrt(Distance(b, c))+1e-6 {
				t.Fatalf("%v is farther than %v and %v", Distance(a, c), d, Distance(b, c))
			}
		}
	})
	if d := Distance([]float64{1, 0, 1, 0}, []float64{0, 1, 0, 1}); d != 1 {
		t.Errorf("what has nothing in common is %v apart", d)
	}
	if d := Distance([]float64{1, 0, 0}, []float64{1, 0, 0, 1}); math.Abs(d-0.5) > 1e-15 { // an odd number of bins: one layer alike
		t.Errorf("half of it alike: %v", d)
	}
}

// Many beds draw at once on few papers: each gets the picture that it gets alone.
func TestBedsThatDrawAtOnce(t *testing.T) {
	const beds = 8
	var group sync.WaitGroup
	var want, got [beds]Answer
	maps := [beds][]float64{}
	m := func(k int) Mat { return Mat{Rows: 64, Columns: 32, PitchMM: [2]float64{28, float64(20 + k)}} }
	for k := range beds {
		maps[k] = lying(rand.New(rand.NewPCG(uint64(k), 3)), float64(k-4))
		want[k] = New(m(k)).Recognise(maps[k])
	}
	for k := range beds {
		group.Go(func() {
			for rec := range slices.Values(slices.Repeat([]*Recogniser{New(m(k))}, 10)) {
				got[k] = rec.Recognise(maps[k])
			}
		})
	}
	group.Wait()
	if got != want {
		t.Errorf("at once %v, alone %v", got, want)
	}
}

// Mats of several sizes in turn allocate nothing, once the largest has been drawn.
func TestMatsInTurnAllocateNothing(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	large, small := New(Mat{Rows: 64, Columns: 32, PitchMM: [2]float64{28, 25}}), New(Mat{Rows: 12, Columns: 6})
	v, few := lying(r, 4), make([]float64, 72)
	for i := range few {
		few[i] = 50 * r.Float64()
	}
	if n := testing.AllocsPerRun(20, func() {
		large.Picture(v)
		small.Draw(few)
		small.Judge()
		large.Last()
	}); n != 0 {
		t.Errorf("%v allocations", n)
	}
}
