package matstat_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"

	"weald/ingest/near"
	"weald/rules/matstat"
)

// only is a grid of which one part is measured.
type only struct{ *matstat.Mat }

func part(g matstat.Grid, cells []int, patch matstat.Patch) only {
	return only{matstat.New(g, [][]int{cells}, patch)}
}

func (o only) Measure(values []float64, contact float64) matstat.Measure {
	o.Tally(values, contact)
	o.Detail(values)
	return *o.Of(0)
}

// all returns the cells 0…n-1.
func all(n int) []int {
	cells := make([]int, n)
	for i := range cells {
		cells[i] = i
	}
	return cells
}

// The grid with which the design tests every metric: arithmetic done apart from
// this program, on definitions of ISO/TR 16840-9 where it has them.
var grid = []float64{
	10, 20, 20, 10,
	20, 80, 90, 20,
	20, 70, 60, 20,
	10, 20, 20, 10,
}

func TestTheFourByFourGrid(t *testing.T) {
	g := matstat.Grid{Rows: 4, Columns: 4, PitchMM: [2]float64{25, 25}}
	box := matstat.Patch{Rows: 2, Columns: 2}
	whole := part(g, all(16), box)
	m := whole.Measure(grid, 5)
	near.To(t, "sum", m.Sum, 500, 1e-9)
	near.To(t, "mean", m.Mean, 31.25, 1e-9)
	near.To(t, "variation", m.Variation, 83.809, 5e-4)
	near.To(t, "peak", m.Peak, 90, 0)
	near.To(t, "peak pressure index over 25 cm²", m.Index, 75, 1e-9)
	near.To(t, "x", m.X, 5.000, 1e-9)
	near.To(t, "y", m.Y, 4.900, 1e-9)
	near.To(t, "gradient", m.Gradient, 28.0, 1e-9)
	near.To(t, "load", m.Newtons, 41.663, 5e-4)
	near.To(t, "contact above 5", m.AreaCM2, 100, 1e-9)
	near.To(t, "contact above 20", whole.Measure(grid, 20).AreaCM2, 25, 1e-9)
	// At 20 and more is above anything just below 20.
	near.To(t, "contact from 20", whole.Measure(grid, math.Nextafter(20, 0)).AreaCM2, 75, 1e-9)
	if m.Above != 5 {
		t.Errorf("the threshold of contact is not said: %v", m.Above)
	}
	centre := part(g, []int{5, 6, 9, 10}, box).Measure(grid, 5)
	near.To(t, "dispersion index of the centre", 100*centre.Sum/m.Sum, 60.0, 1e-9)
	near.To(t, "its index", centre.Index, 75, 1e-9)
	near.To(t, "its centre x", centre.X, (80*3.75+90*6.25+70*3.75+60*6.25)/300, 1e-9)
}

// Which standard deviation it is, of a population or of a sample, gonum settles;
// both figures are those of the design.
func TestVariationIsThatOfAPopulation(t *testing.T) {
	g := matstat.Grid{Rows: 4, Columns: 4, PitchMM: [2]float64{25, 25}}
	m := part(g, all(16), matstat.Patch{Rows: 1, Columns: 1}).Measure(grid, 5)
	mean, sd := stat.PopMeanStdDev(grid, nil)
	near.To(t, "variation", m.Variation, 100*sd/mean, 1e-9)
	_, sample := stat.MeanStdDev(grid, nil)
	near.To(t, "sample variation of the same cells", 100*sample/mean, 86.558, 5e-4)
}

func TestPatchByPitch(t *testing.T) {
	for _, c := range []struct {
		pitch [2]float64
		want  matstat.Patch
		cm2   float64
	}{
		{[2]float64{10, 10}, matstat.Patch{Rows: 3, Columns: 3}, 9},
		{[2]float64{15, 15}, matstat.Patch{Rows: 2, Columns: 2}, 9},
		{[2]float64{5, 5}, matstat.Patch{Rows: 6, Columns: 6}, 9},
		{[2]float64{31, 31}, matstat.Patch{Rows: 1, Columns: 1}, 9.61},
		{[2]float64{25, 25}, matstat.Patch{Rows: 1, Columns: 2}, 12.5}, // 6.25 would be farther off
		{[2]float64{12, 20}, matstat.Patch{Rows: 2, Columns: 2}, 9.6},
		{[2]float64{100, 100}, matstat.Patch{Rows: 1, Columns: 1}, 100},
		{[2]float64{math.NaN(), math.NaN()}, matstat.Patch{Rows: 1, Columns: 1}, math.NaN()},
	} {
		got := matstat.PatchFor(c.pitch)
		if got != c.want {
			t.Errorf("pitch %v: patch %v, want %v", c.pitch, got, c.want)
		}
		if cm2 := got.CM2(c.pitch); cm2 == cm2 {
			near.To(t, fmt.Sprint("patch for ", c.pitch), cm2, c.cm2, 1e-9)
		}
	}
}

func TestDeadCellsAreLeftOutAndCounted(t *testing.T) {
	g := matstat.Grid{Rows: 4, Columns: 4, PitchMM: [2]float64{25, 25}}
	values := slices.Clone(grid)
	values[6] = math.NaN() // the 90
	m := part(g, all(16), matstat.Patch{Rows: 2, Columns: 2}).Measure(values, 5)
	if m.Known != 15 || m.Cells != 16 {
		t.Errorf("%d of %d known, want 15 of 16", m.Known, m.Cells)
	}
	near.To(t, "peak", m.Peak, 80, 0)
	near.To(t, "sum", m.Sum, 410, 0)
	near.To(t, "mean of 15", m.Mean, 410.0/15, 1e-9)
	near.To(t, "index of three of four cells", m.Index, 70, 1e-9)
	near.To(t, "gradient without the dead cell", m.Gradient, 60/2.5, 1e-9)
	values = make([]float64, 16)
	for i := range values {
		values[i] = math.NaN()
	}
	m = part(g, all(16), matstat.Patch{Rows: 2, Columns: 2}).Measure(values, 5)
	for _, v := range []float64{m.Peak, m.Index, m.Mean, m.AreaCM2, m.Newtons, m.X, m.Y, m.Variation, m.Gradient, m.Sum} {
		if !math.IsNaN(v) {
			t.Errorf("a mat without a single value says %+v", m)
			break
		}
	}
}

// Areas that overlap as they like, with holes, unknown cells and cells below 0,
// against a slow reference on matrices, which knows cells by row and column and no
// strips, and looks at each area by itself. What was measured before must not
// matter, to the last bit.
func TestAgainstMatrices(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows, columns := rapid.IntRange(1, 7).Draw(t, "rows"), rapid.IntRange(1, 7).Draw(t, "columns")
		pitch := [2]float64{rapid.SampledFrom([]float64{8, 10, 25}).Draw(t, "down"), rapid.SampledFrom([]float64{8, 10, 25}).Draw(t, "along")}
		least := rapid.SampledFrom([]float64{0, -20}).Draw(t, "least")
		cell := rapid.OneOf(rapid.Float64Range(least, 200), rapid.Just(math.NaN()), rapid.Just(5.0), rapid.Just(0.0))
		areas := make([][]int, rapid.IntRange(1, 3).Draw(t, "areas"))
		for a := range areas {
			thin := rapid.IntRange(1, 9).Draw(t, "of ten")
			for c := range rows * columns {
				if rapid.IntRange(0, 9).Draw(t, "in") <= thin {
					areas[a] = append(areas[a], c)
				}
			}
		}
		g, patch := matstat.Grid{Rows: rows, Columns: columns, PitchMM: pitch}, matstat.PatchFor(pitch)
		m := matstat.New(g, areas, patch)
		for range 2 {
			values := rapid.SliceOfN(cell, rows*columns, rows*columns).Draw(t, "values")
			fresh := matstat.New(g, areas, patch)
			for _, m := range []*matstat.Mat{m, fresh} {
				m.Tally(values, 5)
				m.Detail(values)
			}
			for a, cells := range areas {
				got, again := *m.Of(a), *fresh.Of(a)
				want := slow(mat.NewDense(rows, columns, values), cells, pitch, patch)
				if got.Known != want.Known || got.Contact != want.Contact || got.Cells != len(cells) {
					t.Fatalf("%d known and %d in contact of %d, the reference says %d and %d of %d", got.Known, got.Contact, got.Cells, want.Known, want.Contact, len(cells))
				}
				figures := func(m *matstat.Measure) []float64 {
					return []float64{m.Peak, m.Index, m.Mean, m.Sum, m.X, m.Y, m.Variation, m.Gradient}
				}
				for i, name := range []string{"peak", "index", "mean", "sum", "x", "y", "variation", "gradient"} {
					got, again, want := figures(&got)[i], figures(&again)[i], figures(&want)[i]
					if math.IsNaN(got) != math.IsNaN(want) || math.Abs(got-want) > 1e-9*(1+math.Abs(want)) {
						t.Fatalf("%s of area %d is %v, the reference says %v", name, a, got, want)
					}
					if math.Float64bits(got) != math.Float64bits(again) {
						t.Fatalf("%s of area %d is %v, and without a past %v", name, a, got, again)
					}
				}
			}
		}
	})
}

// slow measures cell by cell with the definitions as they are written.
func slow(m *mat.Dense, cells []int, pitch [2]float64, patch matstat.Patch) matstat.Measure {
	rows, columns := m.Dims()
	in := func(r, c int) bool {
		return r >= 0 && c >= 0 && r < rows && c < columns && slices.Contains(cells, r*columns+c)
	}
	var known, touching, pressing, xs, ys []float64
	gradient := 0.0
	for _, cell := range cells {
		r, c := cell/columns, cell%columns
		v := m.At(r, c)
		if math.IsNaN(v) {
			continue
		}
		known = append(known, v)
		if v > 0 {
			pressing, xs, ys = append(pressing, v), append(xs, (float64(c)+0.5)*pitch[1]/10), append(ys, (float64(r)+0.5)*pitch[0]/10)
		}
		if v > 5 {
			touching = append(touching, v)
		}
		for _, d := range [][2]int{{0, 1}, {1, 0}, {0, -1}, {-1, 0}} {
			if in(r+d[0], c+d[1]) && !math.IsNaN(m.At(r+d[0], c+d[1])) {
				distance := math.Hypot(float64(d[0])*pitch[0], float64(d[1])*pitch[1]) / 10
				gradient = max(gradient, math.Abs(v-m.At(r+d[0], c+d[1]))/distance)
			}
		}
	}
	nan := math.NaN()
	out := matstat.Measure{Known: len(known), Contact: len(touching), Sum: nan, Peak: nan, Index: nan, Mean: nan, X: nan, Y: nan, Variation: nan, Gradient: nan}
	if len(known) == 0 {
		return out
	}
	out.Peak, out.Mean, out.Gradient = slices.Max(known), 0, gradient
	if len(touching) > 0 {
		mean, sd := stat.PopMeanStdDev(touching, nil)
		out.Mean, out.Variation = mean, 100*sd/mean
	}
	out.Sum = floats.Sum(known)
	if len(pressing) > 0 {
		out.X, out.Y = stat.Mean(xs, pressing), stat.Mean(ys, pressing)
	}
	shapes := []matstat.Patch{patch}
	if pitch[0] == pitch[1] {
		shapes = append(shapes, matstat.Patch{Rows: patch.Columns, Columns: patch.Rows})
	}
	fits := false
	for _, p := range shapes {
		for r := range rows {
			for c := range columns {
				var inside []float64
				whole := true
				for i := range p.Rows {
					for k := range p.Columns {
						whole = whole && in(r+i, c+k)
						if whole && !math.IsNaN(m.At(r+i, c+k)) {
							inside = append(inside, m.At(r+i, c+k))
						}
					}
				}
				if fits = fits || whole; whole && 2*len(inside) >= p.Rows*p.Columns {
					if v := stat.Mean(inside, nil); math.IsNaN(out.Index) || v > out.Index {
						out.Index = v
					}
				}
			}
		}
	}
	if !fits {
		out.Index = stat.Mean(known, nil)
	}
	return out
}

func BenchmarkMeasure(b *testing.B) {
	const rows, columns = 64, 32
	values := make([]float64, rows*columns)
	for i := range values {
		values[i] = math.Max(0, 80*math.Sin(float64(i)/37)*math.Cos(float64(i%columns)/9))
	}
	for _, pitch := range []float64{10, 25} {
		g := matstat.Grid{Rows: rows, Columns: columns, PitchMM: [2]float64{pitch, pitch}}
		a := part(g, all(rows*columns), matstat.PatchFor(g.PitchMM))
		b.Run(fmt.Sprint(pitch, " mm"), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				a.Measure(values, 5)
			}
		})
	}
}
