package matstat_test

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/floats/scalar"
	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"

	"weald/ingest/near"
	"weald/ingest/tried"
	"weald/rules/matstat"
)

// A drawn is a mat with values, of which every cell is measured.
type drawn struct {
	matstat.Grid
	values []float64
	patch  matstat.Patch
}

func draw(t *rapid.T, cell *rapid.Generator[float64]) drawn {
	pitch := rapid.SampledFrom([]float64{8, 10, 15, 25})
	g := matstat.Grid{
		Rows: rapid.IntRange(1, 8).Draw(t, "rows"), Columns: rapid.IntRange(1, 8).Draw(t, "columns"),
		PitchMM: [2]float64{pitch.Draw(t, "down"), pitch.Draw(t, "along")},
	}
	return drawn{g, rapid.SliceOfN(cell, g.Rows*g.Columns, g.Rows*g.Columns).Draw(t, "values"), matstat.PatchFor(g.PitchMM)}
}

func (d drawn) measure(contact float64) matstat.Measure {
	return part(d.Grid, all(len(d.values)), d.patch).Measure(d.values, contact)
}

var (
	pressing = rapid.Float64Range(0, 200)
	anything = rapid.OneOf(rapid.Float64Range(-20, 200), rapid.Just(math.NaN()), rapid.Just(5.0), rapid.Just(0.0))
)

// alike reports whether two figures are, to rounding; what is unknown is like itself.
func alike(a, b float64) bool {
	return math.IsNaN(a) && math.IsNaN(b) || scalar.EqualWithinAbsOrRel(a, b, 1e-9, 1e-9)
}

func hold(t *rapid.T, what string, got, want float64) {
	t.Helper()
	if !alike(got, want) {
		t.Fatalf("%s is %v, want %v", what, got, want)
	}
}

// same holds all figures of two measures to each other, but for the centre.
func same(t *rapid.T, got, want matstat.Measure) {
	t.Helper()
	if got.Known != want.Known || got.Contact != want.Contact {
		t.Fatalf("%d known and %d in contact, want %d and %d", got.Known, got.Contact, want.Known, want.Contact)
	}
	hold(t, "peak", got.Peak, want.Peak)
	hold(t, "index", got.Index, want.Index)
	hold(t, "mean", got.Mean, want.Mean)
	hold(t, "area", got.AreaCM2, want.AreaCM2)
	hold(t, "sum", got.Sum, want.Sum)
	hold(t, "load", got.Newtons, want.Newtons)
	hold(t, "variation", got.Variation, want.Variation)
	hold(t, "gradient", got.Gradient, want.Gradient)
}

// Whoever looks at a mat from another side sees the same loads elsewhere: in a
// mirror, and with rows for columns.
func TestFromAnotherSide(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t, anything)
		want := d.measure(5)
		mirrored, crosswise := d, d
		mirrored.values, crosswise.values = make([]float64, len(d.values)), make([]float64, len(d.values))
		for i, v := range d.values {
			r, c := i/d.Columns, i%d.Columns
			mirrored.values[r*d.Columns+d.Columns-1-c] = v
			crosswise.values[c*d.Rows+r] = v
		}
		crosswise.Rows, crosswise.Columns = d.Columns, d.Rows
		crosswise.PitchMM[0], crosswise.PitchMM[1] = d.PitchMM[1], d.PitchMM[0]
		crosswise.patch = matstat.Patch{Rows: d.patch.Columns, Columns: d.patch.Rows}

		got := mirrored.measure(5)
		same(t, got, want)
		hold(t, "mirrored x", got.X, float64(d.Columns)*d.PitchMM[1]/10-want.X)
		hold(t, "y in a mirror", got.Y, want.Y)
		got = crosswise.measure(5)
		same(t, got, want)
		hold(t, "x with rows for columns", got.X, want.Y)
		hold(t, "y with rows for columns", got.Y, want.X)
	})
}

// Twice the pressure is twice the figures in mmHg and newtons, and the same where
// and how uneven.
func TestMorePressure(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d, by := draw(t, anything), rapid.SampledFrom([]float64{0.25, 2, 8}).Draw(t, "by") // exact in binary
		was := d.measure(4)
		more := d
		more.values = slices.Clone(d.values)
		for i := range more.values {
			more.values[i] *= by
		}
		got := more.measure(4 * by)
		want := was
		for _, v := range []*float64{&want.Peak, &want.Index, &want.Mean, &want.Sum, &want.Newtons, &want.Gradient} {
			*v *= by
		}
		same(t, got, want)
		hold(t, "x", got.X, was.X)
		hold(t, "y", got.Y, was.Y)
	})
}

// What parts measure makes up the whole: sums add, peaks are the greatest, means
// and centres weigh by what they are of, and variances combine as those of groups
// do (the mean of the variances and the variance of the means).
func TestPartsMakeUpTheWhole(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t, rapid.OneOf(pressing, rapid.Just(math.NaN())))
		n := rapid.IntRange(1, 4).Draw(t, "parts")
		areas := make([][]int, n+1)
		areas[n] = all(len(d.values))
		for c := range d.values {
			a := rapid.IntRange(0, n-1).Draw(t, "of")
			areas[a] = append(areas[a], c)
		}
		m := matstat.New(d.Grid, areas, d.patch)
		m.Tally(d.values, 5)
		m.Detail(d.values)
		whole := m.Of(n)
		if whole.Known == 0 {
			t.Skip("nothing is known")
		}
		var sum, newtons, area float64
		known, contact := 0, 0
		peak, steepest, index := math.Inf(-1), 0.0, math.Inf(-1)
		var xs, ys, loads, means, variances, counts []float64
		for a := range n {
			p := m.Of(a)
			known, contact = known+p.Known, contact+p.Contact
			if p.Known == 0 {
				continue
			}
			sum, newtons, area = sum+p.Sum, newtons+p.Newtons, area+p.AreaCM2
			peak, steepest = max(peak, p.Peak), max(steepest, p.Gradient)
			if p.Where.Rows > 0 {
				index = max(index, p.Index)
			}
			if p.Sum > 0 {
				xs, ys, loads = append(xs, p.X), append(ys, p.Y), append(loads, p.Sum)
			}
			if p.Contact > 0 {
				sd := p.Variation * p.Mean / 100
				means, variances, counts = append(means, p.Mean), append(variances, sd*sd), append(counts, float64(p.Contact))
			}
		}
		if whole.Known != known || whole.Contact != contact {
			t.Fatalf("%d known and %d in contact, the parts have %d and %d", whole.Known, whole.Contact, known, contact)
		}
		hold(t, "sum", whole.Sum, sum)
		hold(t, "load", whole.Newtons, newtons)
		hold(t, "area", whole.AreaCM2, area)
		hold(t, "peak", whole.Peak, peak)
		if whole.Gradient < steepest {
			t.Fatalf("a gradient of %v, and a part has %v", whole.Gradient, steepest)
		}
		if whole.Index < index*(1-1e-12) {
			t.Fatalf("an index of %v, and a part has %v", whole.Index, index)
		}
		if len(loads) > 0 {
			hold(t, "x", whole.X, stat.Mean(xs, loads))
			hold(t, "y", whole.Y, stat.Mean(ys, loads))
		}
		if len(counts) > 0 {
			mean, between := stat.PopMeanVariance(means, counts)
			hold(t, "mean", whole.Mean, mean)
			sd := math.Sqrt(stat.Mean(variances, counts) + between)
			if got := whole.Variation * whole.Mean / 100; !scalar.EqualWithinAbs(got, sd, 1e-6) {
				t.Fatalf("standard deviation %v, the parts make it %v", got, sd)
			}
		}
	})
}

// Bounds that no map can leave. The greatest coefficient of variation of n values
// that are not negative is √(n-1), where all but one are 0 (from memory).
func TestBounds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t, rapid.OneOf(pressing, rapid.Just(math.NaN()), rapid.Just(0.0)))
		m := d.measure(5)
		if m.Known == 0 {
			t.Skip("nothing is known")
		}
		const eps = 1e-9
		least := min(d.PitchMM[0], d.PitchMM[1]) / 10
		for what, ok := range map[string]bool{
			"cells":           m.Contact <= m.Known && m.Known <= m.Cells && m.Cells == len(d.values),
			"index and peak":  !(m.Index > m.Peak+eps),
			"mean and peak":   m.Mean <= m.Peak+eps && (m.Contact == 0 || m.Mean > m.Above),
			"gradient":        m.Gradient >= 0 && m.Gradient <= m.Peak/least+eps,
			"variation":       m.Contact == 0 && math.IsNaN(m.Variation) || m.Variation >= 0 && m.Variation <= 100*math.Sqrt(float64(m.Contact-1))+eps,
			"centre":          m.Sum == 0 && math.IsNaN(m.X) || m.X >= 0 && m.X <= float64(d.Columns)*d.PitchMM[1]/10+eps && m.Y >= 0 && m.Y <= float64(d.Rows)*d.PitchMM[0]/10+eps,
			"area and pitch":  alike(m.AreaCM2, float64(m.Contact)*d.PitchMM[0]*d.PitchMM[1]/100),
			"load and pitch":  alike(m.Newtons, m.Sum*133.322387415*d.PitchMM[0]*d.PitchMM[1]*1e-6),
			"mean and sum":    m.Mean*float64(m.Contact) <= m.Sum+eps,
			"contact and any": (m.Peak > m.Above) == (m.Contact > 0),
		} {
			if !ok {
				t.Fatalf("%s: %+v", what, m)
			}
		}
	})
}

// A higher threshold of contact takes cells away, and makes the mean of the others
// higher; what is not about contact stays to the last bit.
func TestTheThresholdOfContact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t, anything)
		low := rapid.Float64Range(0, 100).Draw(t, "low")
		high := low + rapid.Float64Range(0, 100).Draw(t, "more")
		a, b := d.measure(low), d.measure(high)
		if a.Known == 0 {
			t.Skip("nothing is known")
		}
		if b.Contact > a.Contact || b.Contact > 0 && b.Mean < a.Mean-1e-9 {
			t.Fatalf("above %v: %+v, above %v: %+v", low, a, high, b)
		}
		for _, p := range [][2]float64{{a.Peak, b.Peak}, {a.Index, b.Index}, {a.Sum, b.Sum}, {a.X, b.X}, {a.Y, b.Y}, {a.Gradient, b.Gradient}} {
			if math.Float64bits(p[0]) != math.Float64bits(p[1]) {
				t.Fatalf("above %v: %+v, above %v: %+v", low, a, high, b)
			}
		}
	})
}

// The patch of which the index is the mean is where it says.
func TestWhereTheIndexIs(t *testing.T) {
	found := 0
	tried.Check(t, tried.Count(&found, 20), func(t *rapid.T) {
		d := draw(t, anything)
		m := d.measure(5)
		if m.Where.Rows == 0 {
			return
		}
		found++
		var in []float64
		for r := range m.Where.Rows {
			for c := range m.Where.Columns {
				if v := d.values[m.At+r*d.Columns+c]; !math.IsNaN(v) {
					in = append(in, v)
				}
			}
		}
		if m.At%d.Columns+m.Where.Columns > d.Columns {
			t.Fatalf("%v from cell %d on is not on a mat of %d columns", m.Where, m.At, d.Columns)
		}
		hold(t, "mean of the patch", stat.Mean(in, nil), m.Index)
	})
}

// The patch is as near to what is asked as any, by trying all.
func TestNoPatchIsNearer(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pitch := [2]float64{rapid.Float64Range(3, 60).Draw(t, "down"), rapid.Float64Range(3, 60).Draw(t, "along")}
		miss := func(p matstat.Patch) float64 {
			cm2 := float64(p.Rows) * pitch[0] / 10 * float64(p.Columns) * pitch[1] / 10
			if cm2 > 9-1e-10 && cm2 < 10+1e-10 {
				return 0
			}
			return math.Abs(math.Log(cm2 / 9.5))
		}
		got := matstat.PatchFor(pitch)
		for r := 1; r == 1 || float64(r)*pitch[0] <= 60; r++ {
			for c := 1; c == 1 || float64(c)*pitch[1] <= 60; c++ {
				if p := (matstat.Patch{Rows: r, Columns: c}); miss(p) < miss(got)-1e-8 {
					t.Fatalf("pitch %v: %v misses by %v, %v by %v", pitch, got, miss(got), p, miss(p))
				}
			}
		}
		turned := [2]float64{pitch[1], pitch[0]}
		hold(t, "the patch with rows for columns", matstat.PatchFor(turned).CM2(turned), got.CM2(pitch))
	})
}

// A slope of b mmHg for each cm along the rows and c down the columns.
func TestTheGradientOfAPlane(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t, pressing)
		b, c := rapid.Float64Range(-20, 20).Draw(t, "b"), rapid.Float64Range(-20, 20).Draw(t, "c")
		for i := range d.values {
			d.values[i] = 500 + b*float64(i%d.Columns)*d.PitchMM[1]/10 + c*float64(i/d.Columns)*d.PitchMM[0]/10
		}
		want := 0.0
		if d.Columns > 1 {
			want = math.Abs(b)
		}
		if d.Rows > 1 {
			want = max(want, math.Abs(c))
		}
		if got := d.measure(5).Gradient; !scalar.EqualWithinAbs(got, want, 1e-9) {
			t.Fatalf("gradient %v, want %v", got, want)
		}
	})
}

// The steepest slope of a bell of height A and width σ is A/(σ√e), at σ from its
// middle. A difference over h is the slope half-way but for h²/24 times the third
// derivative, which is at most 1.38 A/σ³, and may miss the steepest by half a cell.
func TestTheGradientOfABell(t *testing.T) {
	const rows, columns, peak, sigma = 81, 81, 90.0, 4.0 // cm
	for _, h := range []float64{0.1, 0.25, 0.5} {
		values := make([]float64, rows*columns)
		for i := range values {
			x, y := h*float64(i%columns-columns/2), h*float64(i/columns-rows/2)
			values[i] = peak * math.Exp(-(x*x+y*y)/(2*sigma*sigma))
		}
		g := matstat.Grid{Rows: rows, Columns: columns, PitchMM: [2]float64{10 * h, 10 * h}}
		m := part(g, all(len(values)), matstat.PatchFor(g.PitchMM)).Measure(values, 5)
		within := 1.38 * peak / (sigma * sigma * sigma) * h * h * (1.0/24 + 1.0/8)
		near.To(t, "gradient", m.Gradient, peak/(sigma*math.Sqrt(math.E)), within)
		near.To(t, "x", m.X, h*columns/2, 1e-9)
		near.To(t, "y", m.Y, h*rows/2, 1e-9)
		if h == 0.5 { // all of the bell is on the mat: ∫∫ is 2πσ²A
			near.To(t, "load", m.Newtons, 2*math.Pi*sigma*sigma*peak*133.322387415e-4, 1e-3)
		}
	}
}

// Ten people on a rigid seat, the left sitting bone, and ten with an injured
// spinal cord: Tam et al., Arch Phys Med Rehabil 2003;84:1466-1472. Mean 126.1 and
// 133.1, SD 21.8197 and 32.1781 of a sample; ours is that of a population.
func TestPublishedPressures(t *testing.T) {
	for _, c := range []struct {
		values   []float64
		mean, sd float64
	}{
		{[]float64{131, 115, 124, 131, 122, 117, 88, 114, 150, 169}, 126.1, 21.8197},
		{[]float64{60, 150, 130, 180, 163, 130, 121, 119, 130, 148}, 133.1, 32.1781},
	} {
		g := matstat.Grid{Rows: 2, Columns: 5, PitchMM: [2]float64{10, 10}}
		m := part(g, all(10), matstat.Patch{Rows: 1, Columns: 1}).Measure(c.values, 5)
		near.To(t, "mean", m.Mean, c.mean, 1e-9)
		near.To(t, "standard deviation", m.Variation*m.Mean/100*math.Sqrt(10.0/9), c.sd, 1e-4)
	}
}

// NIST Statistical Reference Datasets, NumAcc1 to NumAcc4: values that are all but
// equal, of which a plain sum of squares loses everything. Certified standard
// deviations of a sample: 1 and 0.1.
func TestNumericalAccuracy(t *testing.T) {
	swing := func(first, a, b float64) []float64 {
		out := []float64{first}
		for range 500 {
			out = append(out, a, b)
		}
		return out
	}
	for _, c := range []struct {
		name             string
		values           []float64
		columns          int
		mean, sd, within float64
	}{
		{"NumAcc1", []float64{10000001, 10000003, 10000002}, 3, 10000002, 1, 1e-9},
		{"NumAcc2", swing(1.2, 1.1, 1.3), 143, 1.2, 0.1, 1e-12},
		{"NumAcc3", swing(1000000.2, 1000000.1, 1000000.3), 143, 1000000.2, 0.1, 1e-8},
		{"NumAcc4", swing(10000000.2, 10000000.1, 10000000.3), 143, 10000000.2, 0.1, 1e-8},
	} {
		n := float64(len(c.values))
		g := matstat.Grid{Rows: len(c.values) / c.columns, Columns: c.columns, PitchMM: [2]float64{10, 10}}
		m := part(g, all(len(c.values)), matstat.Patch{Rows: 1, Columns: 1}).Measure(c.values, 1)
		near.To(t, c.name+" mean", m.Mean, c.mean, c.mean*1e-14)
		near.To(t, c.name+" standard deviation", m.Variation*m.Mean/100*math.Sqrt(n/(n-1)), c.sd, c.within)
	}
}

// A weight on a mat is what the mat measures: 10 kg on 40 by 40 cm, which is
// 612.9 Pa or 4.597 mmHg (9.80665 m/s², 133.322387415 Pa to a mmHg).
func TestAWeight(t *testing.T) {
	g := matstat.Grid{Rows: 16, Columns: 16, PitchMM: [2]float64{25, 25}}
	values := make([]float64, 256)
	for i := range values {
		values[i] = 10 * 9.80665 / 0.16 / 133.322387415
	}
	m := part(g, all(256), matstat.PatchFor(g.PitchMM)).Measure(values, 0)
	near.To(t, "pressure", m.Mean, 4.5972, 1e-4)
	near.To(t, "load", m.Newtons, 98.0665, 1e-9)
	near.To(t, "variation", m.Variation, 0, 1e-9)
	near.To(t, "gradient", m.Gradient, 0, 1e-9)
	near.To(t, "x", m.X, 20, 1e-9)
	near.To(t, "y", m.Y, 20, 1e-9)
	near.To(t, "area", m.AreaCM2, 1600, 1e-9)
}

// The ends of what is said: nothing pressing, cells below 0, one cell, and patches
// of which half is known, or less.
func TestEdgesOfMeasuring(t *testing.T) {
	nan := math.NaN()
	g := matstat.Grid{Rows: 2, Columns: 2, PitchMM: [2]float64{10, 20}}
	box := matstat.Patch{Rows: 2, Columns: 2}
	for _, c := range []struct {
		name                                   string
		values                                 []float64
		contact                                int
		mean, x, y, index, variation, gradient float64
	}{
		{"nothing presses", []float64{0, 0, 0, 0}, 0, 0, nan, nan, 0, nan, 0},
		{"all below 0", []float64{-1, -1, -1, -3}, 0, 0, nan, nan, -1.5, nan, 2},
		{"at the threshold", []float64{5, 5, 5, 5}, 0, 0, 2, 1, 5, nan, 0},
		{"one above it", []float64{6, 5, 5, 5}, 1, 6, (6*1 + 5*3 + 5*1 + 5*3) / 21.0, (6*0.5 + 5*0.5 + 5*1.5 + 5*1.5) / 21.0, 5.25, 0, 1},
		{"what is below 0 is nowhere", []float64{10, -10, 0, 0}, 1, 10, 1, 0.5, 0, 0, 10},
		{"half of the patch", []float64{nan, 10, 20, nan}, 2, 15, (3*10 + 1*20) / 30.0, (0.5*10 + 1.5*20) / 30, 15, 100 * 5 / 15.0, 0},
		{"less than half", []float64{nan, 10, nan, nan}, 1, 10, 3, 0.5, nan, 0, 0},
	} {
		m := part(g, all(4), box).Measure(c.values, 5)
		if m.Contact != c.contact {
			t.Errorf("%s: %d in contact, want %d", c.name, m.Contact, c.contact)
		}
		for i, what := range []string{"mean", "x", "y", "index", "variation", "gradient"} {
			got := []float64{m.Mean, m.X, m.Y, m.Index, m.Variation, m.Gradient}[i]
			if want := []float64{c.mean, c.x, c.y, c.index, c.variation, c.gradient}[i]; !alike(got, want) {
				t.Errorf("%s: %s is %v, want %v", c.name, what, got, want)
			}
		}
	}
}

// Until Detail has looked, what it finds is not known: nothing of an older map is
// taken for that of a newer one.
func TestWithoutDetail(t *testing.T) {
	g := matstat.Grid{Rows: 4, Columns: 4, PitchMM: [2]float64{25, 25}}
	o := part(g, all(16), matstat.Patch{Rows: 2, Columns: 2})
	o.Measure(grid, 5)
	o.Tally(grid, 5)
	if m := o.Of(0); !math.IsNaN(m.Index) || !math.IsNaN(m.Variation) || !math.IsNaN(m.Gradient) || m.Peak != 90 {
		t.Errorf("after Tally alone: %+v", *m)
	}
	o.Detail(grid)
	if m := *o.Of(0); m != part(g, all(16), matstat.Patch{Rows: 2, Columns: 2}).Measure(grid, 5) {
		t.Errorf("in two steps: %+v", m)
	}
}
