package posture

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"

	"weald/ingest/tried"
)

// The reference follows the steps of the package comment one by one, on matrices,
// and looks at each part of each cell by itself. It shares no code with the
// drawer.

// quarter turns a map by a quarter: its left edge comes to the top.
func quarter(m *mat.Dense) *mat.Dense {
	rows, columns := m.Dims()
	out := mat.NewDense(columns, rows, nil)
	for r := range rows {
		for c := range columns {
			out.Set(c, rows-1-r, m.At(r, c))
		}
	}
	return out
}

// seen turns a map upright, step 1, and says how far its rows and columns are
// from each other.
func seen(m Mat, values []float64) (up *mat.Dense, along, across float64) {
	up = mat.NewDense(m.Rows, m.Columns, slices.Clone(values))
	along, across = m.PitchMM[0], m.PitchMM[1]
	quarters := map[Edge]int{FirstRow: 0, FirstColumn: 1, LastRow: 2, LastColumn: 3}[m.Head]
	for range quarters {
		up, along, across = quarter(up), across, along
	}
	rows, columns := up.Dims()
	if m.FromBelow {
		for r := range rows {
			slices.Reverse(up.RawRowView(r))
		}
	}
	if along == 0 {
		along = 1900 / float64(rows)
	}
	if across == 0 {
		across = 850 / float64(columns)
	}
	return up, along, across
}

// usual is the typical pressure, step 2.
func usual(values []float64) float64 {
	var above []float64
	for _, v := range values {
		if v > 0 {
			above = append(above, v)
		}
	}
	if len(above) == 0 {
		return 0
	}
	mean := stat.Mean(above, nil)
	var loaded []float64
	for _, v := range above {
		if v > mean {
			loaded = append(loaded, min(v, 8*mean))
		}
	}
	if len(loaded) == 0 {
		return mean
	}
	return stat.Mean(loaded, nil)
}

// pictured makes the picture, steps 2 to 4, and says where its middle is in mm
// from the top and the left edge; false where nothing is to be seen.
func pictured(m Mat, values []float64) (pic []float64, along, across float64, ok bool) {
	up, tallMM, wideMM := seen(m, values)
	rows, columns := up.Dims()
	scale := usual(values)
	if !(scale > 0) {
		return nil, 0, 0, false
	}
	var ys, xs, loads []float64
	for r := range rows {
		for c := range columns {
			v := up.At(r, c)
			switch {
			case !math.IsNaN(v):
				v = max(0, v/scale-0.08)
				v /= 1 + v
			case c > 0:
				v = up.At(r, c-1)
			case r > 0:
				v = up.At(r-1, 0)
			default:
				v = 0
			}
			up.Set(r, c, v)
			ys, xs, loads = append(ys, float64(r)), append(xs, float64(c)), append(loads, v)
		}
	}
	if floats.Sum(loads) == 0 {
		return nil, 0, 0, false
	}
	middleY, middleX := stat.Mean(ys, loads), stat.Mean(xs, loads)
	bins := mat.NewDense(22, 14, nil)
	// A load falls into the four bins around it, by how near it is to each.
	fall := func(y, x, v float64) {
		for r := range 22 {
			for c := range 14 {
				dy, dx := math.Abs(y-float64(r)), math.Abs(x-float64(c))
				if dy < 1 && dx < 1 {
					bins.Set(r, c, bins.At(r, c)+v*(1-dy)*(1-dx))
				}
			}
		}
	}
	down, on := int(math.Ceil(tallMM/100)), int(math.Ceil(wideMM/60))
	for i, v := range loads {
		for a := range down {
			for b := range on {
				y := ys[i] + (float64(a)+0.5)/float64(down) - 0.5 - middleY
				x := xs[i] + (float64(b)+0.5)/float64(on) - 0.5 - middleX
				fall(y*tallMM/100+10.5, x*wideMM/60+6.5, v*tallMM*wideMM/(100*60)/float64(down*on))
			}
		}
	}
	touched, hard := make([]float64, 22*14), make([]float64, 22*14)
	for i, v := range bins.RawMatrix().Data {
		touched[i], hard[i] = v/(v+0.03), v*v/(v+0.3)
	}
	if floats.Norm(touched, 2) == 0 || floats.Norm(hard, 2) == 0 {
		return nil, 0, 0, false
	}
	floats.Scale(1/floats.Norm(touched, 2), touched)
	floats.Scale(1/floats.Norm(hard, 2), hard)
	return append(touched, hard...), (middleY + 0.5) * tallMM, (middleX + 0.5) * wideMM, true
}

// believed is step 5: what the templates make of a picture and of its mirror image.
func believed(m *Model, pic []float64) (p [2 * Templates]float64) {
	picture := mat.NewDense(44, 14, slices.Clone(pic))
	mirror := mat.NewDense(44, 14, slices.Clone(pic))
	for r := range 44 {
		slices.Reverse(mirror.RawRowView(r))
	}
	for t := range Templates {
		p[t] = m.Bias[t] + floats.Dot(m.Weights[t][:], picture.RawMatrix().Data)
		p[t+Templates] = m.Bias[t] + floats.Dot(m.Weights[t][:], mirror.RawMatrix().Data)
	}
	whole := floats.LogSumExp(p[:])
	for i := range p {
		p[i] = math.Exp(p[i] - whole)
	}
	return p
}

func drawMap(t *rapid.T) (Mat, []float64) {
	m := Mat{
		Rows: rapid.IntRange(1, 14).Draw(t, "rows"), Columns: rapid.IntRange(1, 14).Draw(t, "columns"),
		PitchMM: [2]float64{
			rapid.SampledFrom([]float64{0, 25, 100, 101, 160, 250}).Draw(t, "down"),
			rapid.SampledFrom([]float64{0, 25, 60, 61, 130}).Draw(t, "along"),
		},
		Head:      rapid.SampledFrom([]Edge{FirstRow, LastRow, FirstColumn, LastColumn}).Draw(t, "head"),
		FromBelow: rapid.Bool().Draw(t, "below"),
	}
	cell := rapid.OneOf(rapid.Float64Range(0, 100), rapid.Float64Range(0, 100), rapid.Just(0.0), rapid.Just(math.NaN()), rapid.Just(-5.0), rapid.Just(4000.0))
	return m, rapid.SliceOfN(cell, m.Rows*m.Columns, m.Rows*m.Columns).Draw(t, "values")
}

func TestAgainstTheReference(t *testing.T) {
	shown := 0
	tried.Check(t, tried.Count(&shown, 50), func(t *rapid.T) {
		m, values := drawMap(t)
		rec := New(m)
		pic, ok := rec.Picture(values)
		want, along, across, visible := pictured(m, values)
		if ok != visible {
			t.Fatalf("it shows something: %t, the reference says %t", ok, visible)
		}
		a := rec.Recognise(values)
		if !ok {
			if a.Position != NotSure || !math.IsNaN(a.Supine) || !math.IsNaN(a.Left) || !math.IsNaN(a.Right) {
				t.Fatalf("of nothing: %+v", a)
			}
			return
		}
		shown++
		if d := floats.Distance(pic, want, math.Inf(1)); !(d < 1e-9) {
			t.Fatalf("a bin is off by %v", d)
		}
		if _, y, x := rec.Last(); !(math.Abs(y-along) < 1e-6 && math.Abs(x-across) < 1e-6) {
			t.Fatalf("the middle is at %v and %v mm, the reference has it at %v and %v", y, x, along, across)
		}
		p, got := believed(embedded, want), embedded.Kinds(pic)
		if d := floats.Distance(p[:], got[:], math.Inf(1)); !(d < 1e-7) {
			t.Fatalf("belief %v, the reference has %v", got, p)
		}
		var supine, left, right float64
		for t := range Templates {
			if t < 2 {
				supine += p[t] + p[t+Templates]
			} else {
				left, right = left+p[t], right+p[t+Templates]
			}
		}
		for what, d := range map[string]float64{"supine": a.Supine - supine, "left": a.Left - left, "right": a.Right - right} {
			if !(math.Abs(d) < 1e-7) {
				t.Fatalf("%s is off by %v in %+v", what, d, a)
			}
		}
		position := NotSure
		for p, share := range map[Position]float64{Supine: a.Supine, Left: a.Left, Right: a.Right} {
			if share >= 0.9 {
				position = p
			}
		}
		if a.Position != position {
			t.Fatalf("%+v is called %v", a, a.Position)
		}
	})
}

// What a recogniser saw before does not matter, to the last bit, nor what others
// draw in between on the same paper.
func TestMapsDoNotMatterToEachOther(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, values := drawMap(t)
		n, others := drawMap(t)
		want := New(m).Recognise(values)
		rec := New(m)
		before := rapid.SliceOfN(rapid.Float64Range(0, 80), len(values), len(values)).Draw(t, "before")
		rec.Recognise(before)
		New(n).Recognise(others)
		got := rec.Recognise(values)
		if got.Position != want.Position || math.Float64bits(got.Left) != math.Float64bits(want.Left) || math.Float64bits(got.Supine) != math.Float64bits(want.Supine) {
			t.Fatalf("after another map %+v, without a past %+v", got, want)
		}
	})
}

// How different two pictures are is one less the mean cosine of their layers: it is
// the same either way, 0 of a picture and itself, and between 0 and 1.
func TestDistance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, values := drawMap(t)
		more := rapid.SliceOfN(rapid.Float64Range(0, 80), len(values), len(values)).Draw(t, "more")
		one, ok := New(m).Picture(values)
		other, seen := New(m).Picture(more)
		if !ok || !seen {
			t.Skip("nothing to be seen")
		}
		n := len(one) / 2
		cos := func(a, b []float64) float64 { return floats.Dot(a, b) / floats.Norm(a, 2) / floats.Norm(b, 2) }
		want := 1 - (cos(one[:n], other[:n])+cos(one[n:], other[n:]))/2
		d := Distance(one, other)
		if !(math.Abs(d-want) < 1e-9) || math.Abs(Distance(other, one)-d) > 1e-12 || d < 0 || d > 1+1e-12 {
			t.Fatalf("distance %v, want %v", d, want)
		}
		if d := Distance(one, one); !(d < 1e-12) {
			t.Fatalf("%v from itself", d)
		}
	})
}
