package posture

import (
	"math"
	"math/rand/v2"
	"testing"
)

// lying invents a map of a person on a mat of 64 by 32 cells: a trunk, hips, a
// head, and knees drawn up to the right of the map.
func lying(r *rand.Rand, knees float64) []float64 {
	out := make([]float64, 64*32)
	blob := func(row, column, tall, wide, mmHg float64) {
		for i := range out {
			y, x := (float64(i/32)-row)/tall, (float64(i%32)-column)/wide
			out[i] += mmHg * math.Exp(-(y*y+x*x)/2)
		}
	}
	at := 14 + 4*r.Float64()
	blob(6, at, 2, 1.5, 30)
	blob(18, at, 5, 3, 30)
	blob(31, at, 3, 3, 45)
	blob(42, at+knees, 4, 2, 20)
	blob(54, at+knees/3, 4, 1.5, 20)
	return out
}

func mirrored(values []float64, columns int) []float64 {
	out := make([]float64, len(values))
	for i := range out {
		out[i] = values[i/columns*columns+columns-1-i%columns]
	}
	return out
}

func near(t *testing.T, what string, got, want Answer) {
	t.Helper()
	for _, d := range []float64{got.Supine - want.Supine, got.Left - want.Left, got.Right - want.Right} {
		if !(math.Abs(d) < 1e-9) {
			t.Errorf("%s: %+v, want %+v", what, got, want)
			return
		}
	}
	if got.Position != want.Position {
		t.Errorf("%s: %v, want %v", what, got.Position, want.Position)
	}
}

// What is the same to a person must be the same to the recogniser: the unit of
// pressure, where on the mat they lie, which way round the mat is; and what a
// mirror shows must be the mirror's answer.
func TestSymmetries(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	m := Mat{Rows: 64, Columns: 32, PitchMM: [2]float64{28, 25}}
	rec := New(m)
	for range 200 {
		v := lying(r, 6*r.NormFloat64())
		want := rec.Recognise(v)
		flipped := Answer{want.Position.Mirrored(), want.Supine, want.Right, want.Left}
		near(t, "in a mirror", rec.Recognise(mirrored(v, 32)), flipped)

		below := m
		below.FromBelow = true
		near(t, "from below", New(below).Recognise(v), flipped)

		more := make([]float64, len(v))
		turned, crosswise, back := make([]float64, len(v)), make([]float64, len(v)), make([]float64, len(v))
		for i, x := range v {
			more[i] = 37 * x
			turned[len(v)-1-i] = x
			row, column := i/32, i%32
			crosswise[column*64+63-row] = x // head at the last column
			back[(31-column)*64+row] = x    // head at the first
		}
		near(t, "with more load", rec.Recognise(more), want)
		other := m
		other.Head = LastRow
		near(t, "head at the last row", New(other).Recognise(turned), want)
		other = Mat{Rows: 32, Columns: 64, PitchMM: [2]float64{25, 28}, Head: LastColumn}
		near(t, "head at the last column", New(other).Recognise(crosswise), want)
		other.Head = FirstColumn
		near(t, "head at the first column", New(other).Recognise(back), want)
	}
}

// Shares are shares whatever the map, and what is not there gets no answer.
func TestAnyMapAtAll(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for _, m := range []Mat{{Rows: 1, Columns: 1}, {Rows: 12, Columns: 6}, {Rows: 3, Columns: 200, Head: LastColumn}, {Rows: 64, Columns: 32}} {
		rec := New(m)
		v := make([]float64, m.Rows*m.Columns)
		if a := rec.Recognise(v); a.Position != NotSure || !math.IsNaN(a.Left) {
			t.Errorf("of an empty mat of %d x %d: %+v", m.Rows, m.Columns, a)
		}
		for range 200 {
			for i := range v {
				switch k := r.IntN(40); k {
				case 0:
					v[i] = math.NaN()
				case 1:
					v[i] = 1e300
				case 2:
					v[i] = -50
				case 3:
					v[i] = math.Inf(1)
				default:
					v[i] = 100 * r.Float64()
				}
			}
			a := rec.Recognise(v)
			sum := a.Supine + a.Left + a.Right
			if !math.IsNaN(sum) && math.Abs(sum-1) > 1e-9 || math.IsNaN(sum) && a.Position != NotSure {
				t.Fatalf("%d x %d: %+v", m.Rows, m.Columns, a)
			}
		}
		for i := range v {
			v[i] = math.NaN()
		}
		if a := rec.Recognise(v); a.Position != NotSure || !math.IsNaN(a.Left) {
			t.Errorf("of unknown cells: %+v", a)
		}
	}
}

func TestRecogniseAllocatesNothing(t *testing.T) {
	rec := New(Mat{Rows: 64, Columns: 32, PitchMM: [2]float64{28, 25}})
	v := lying(rand.New(rand.NewPCG(5, 6)), 4)
	if n := testing.AllocsPerRun(20, func() { rec.Recognise(v) }); n != 0 {
		t.Errorf("%v allocations a map", n)
	}
}

func BenchmarkRecognise(b *testing.B) {
	rec := New(Mat{Rows: 64, Columns: 32, PitchMM: [2]float64{28, 25}})
	v := lying(rand.New(rand.NewPCG(5, 6)), 4)
	b.Run("recognise", func(b *testing.B) {
		for b.Loop() {
			rec.Recognise(v)
		}
	})
	// What it costs to look at every cell once: the least that anything could.
	b.Run("bare loop", func(b *testing.B) {
		sum := 0.0
		for b.Loop() {
			for _, x := range v {
				sum += x
			}
		}
		_ = sum
	})
}
