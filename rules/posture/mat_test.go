package posture

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// A map of two rows and three columns, abc over def, as somebody sees it who
// stands at the feet and looks at the head.
func TestWhichWayIsUp(t *testing.T) {
	const cells = "abcdef"
	for _, c := range []struct {
		head  Edge
		below bool
		want  string
	}{
		{FirstRow, false, "abc/def"},
		{LastRow, false, "fed/cba"},
		{FirstColumn, false, "da/eb/fc"},
		{LastColumn, false, "cf/be/ad"},
		{FirstRow, true, "cba/fed"},
		{LastRow, true, "def/abc"},
		{FirstColumn, true, "ad/be/cf"},
		{LastColumn, true, "fc/eb/da"},
	} {
		v := (&Mat{Rows: 2, Columns: 3, Head: c.head, FromBelow: c.below}).View()
		got := ""
		for r := range v.Rows {
			if r > 0 {
				got += "/"
			}
			for k := range v.Columns {
				got += cells[v.Cell(r, k) : v.Cell(r, k)+1]
			}
		}
		if got != c.want {
			t.Errorf("head at %d, from below %t: %s, want %s", c.head, c.below, got, c.want)
		}
	}
}

// Whichever way a mat lies, its view has each cell once, neighbours stay
// neighbours, and it is as long and as wide as the mat.
func TestAViewHasEachCellOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, _ := drawMap(t)
		v := m.View()
		seen := map[int]bool{}
		for r := range v.Rows {
			for c := range v.Columns {
				at := v.Cell(r, c)
				if at < 0 || at >= m.Rows*m.Columns || seen[at] {
					t.Fatalf("%+v: row %d, column %d is cell %d", m, r, c, at)
				}
				seen[at] = true
				if c > 0 {
					before := v.Cell(r, c-1)
					rows, columns := at/m.Columns-before/m.Columns, at%m.Columns-before%m.Columns
					if rows*rows+columns*columns != 1 {
						t.Fatalf("%+v: cells %d and %d are beside each other", m, before, at)
					}
				}
			}
		}
		if len(seen) != m.Rows*m.Columns {
			t.Fatalf("%+v: %d cells are seen", m, len(seen))
		}
		rows, columns := m.Pitch()
		down, on := float64(m.Rows)*rows, float64(m.Columns)*columns
		if m.Head == FirstColumn || m.Head == LastColumn {
			down, on = on, down
		}
		if tall, wide := float64(v.Rows)*v.AlongMM, float64(v.Columns)*v.AcrossMM; math.Abs(tall-down) > 1e-9 || math.Abs(wide-on) > 1e-9 {
			t.Fatalf("%+v: %v by %v mm, seen as %v by %v", m, down, on, tall, wide)
		}
	})
}

// A bed without a pitch is 1900 by 850 mm, along the person, whichever way it lies.
func TestPitchThatIsNotKnown(t *testing.T) {
	for _, c := range []struct {
		mat           Mat
		rows, columns float64
	}{
		{Mat{Rows: 19, Columns: 17}, 100, 50},
		{Mat{Rows: 19, Columns: 17, Head: LastRow}, 100, 50},
		{Mat{Rows: 17, Columns: 19, Head: FirstColumn}, 50, 100},
		{Mat{Rows: 17, Columns: 19, Head: LastColumn}, 50, 100},
		{Mat{Rows: 19, Columns: 17, PitchMM: [2]float64{30, 0}}, 30, 50},
		{Mat{Rows: 17, Columns: 19, PitchMM: [2]float64{30, 0}, Head: LastColumn}, 30, 100},
		{Mat{Rows: 19, Columns: 17, PitchMM: [2]float64{math.NaN(), math.Inf(1)}}, 100, 50},
		{Mat{Rows: 19, Columns: 17, PitchMM: [2]float64{-3, 40}}, 100, 40},
	} {
		if rows, columns := c.mat.Pitch(); rows != c.rows || columns != c.columns {
			t.Errorf("%+v: %v and %v mm, want %v and %v", c.mat, rows, columns, c.rows, c.columns)
		}
	}
}

// Ten cells along the body, six across, and a metre: at each limit and one short.
func TestWhatIsTooSmallToShowAnybody(t *testing.T) {
	for _, c := range []struct {
		mat  Mat
		want bool
	}{
		{Mat{Rows: 10, Columns: 6, PitchMM: [2]float64{100, 100}}, true},
		{Mat{Rows: 9, Columns: 6, PitchMM: [2]float64{200, 100}}, false},
		{Mat{Rows: 10, Columns: 5, PitchMM: [2]float64{100, 100}}, false},
		{Mat{Rows: 10, Columns: 6, PitchMM: [2]float64{99.9, 100}}, false},
		{Mat{Rows: 40, Columns: 20, PitchMM: [2]float64{25, 10}}, true},
		{Mat{Rows: 6, Columns: 10, PitchMM: [2]float64{100, 100}, Head: LastColumn}, true},
		{Mat{Rows: 6, Columns: 10, PitchMM: [2]float64{100, 100}}, false},
		{Mat{Rows: 10, Columns: 6}, true}, // of a usual bed
	} {
		if got := c.mat.Shows(); got != c.want {
			t.Errorf("%+v shows how somebody lies: %t, want %t", c.mat, got, c.want)
		}
	}
}

func TestNamesAndMirrors(t *testing.T) {
	for p, want := range map[Position][2]any{
		NotSure: {"not sure", NotSure}, Supine: {"supine", Supine}, Left: {"left", Right}, Right: {"right", Left},
	} {
		if p.String() != want[0] || p.Mirrored() != want[1] || p.Mirrored().Mirrored() != p {
			t.Errorf("%d is %q, in a mirror %v", p, p, p.Mirrored())
		}
	}
	if Position(9).String() != "not sure" {
		t.Errorf("what is no position is called %q", Position(9))
	}
}

// Each template stands for its mirror image too; that of lying supine is supine.
func TestWhatTemplatesMean(t *testing.T) {
	n := map[Position]int{}
	for k := range 2 * Templates {
		n[Means(k)]++
		if got, want := Means((k+Templates)%(2*Templates)), Means(k).Mirrored(); got != want {
			t.Errorf("the mirror image of template %d means %v, want %v", k, got, want)
		}
	}
	if n[Supine] != 2*Supines || n[Left] != Lefts || n[Right] != Lefts {
		t.Errorf("templates mean %v", n)
	}
}

// Without weights a map says nothing: what is left is how common each position is
// taken to be, and an answer takes nine tenths of the belief.
func TestAnAnswerNeedsNineTenths(t *testing.T) {
	values := lying(rand.New(rand.NewPCG(9, 9)), 3)
	m := Mat{Rows: 64, Columns: 32, PitchMM: [2]float64{28, 25}}
	for _, c := range []struct {
		supine float64
		want   Position
	}{{0.5, NotSure}, {0.899999, NotSure}, {0.900001, Supine}, {0.999, Supine}, {0.001, NotSure}} {
		var model Model
		for k := range model.Bias {
			if k < Supines {
				model.Bias[k] = math.Log(c.supine / Supines)
			} else {
				model.Bias[k] = math.Log((1 - c.supine) / Lefts)
			}
		}
		a := NewWith(m, &model).Recognise(values)
		side := (1 - c.supine) / 2
		if math.Abs(a.Supine-c.supine) > 1e-12 || math.Abs(a.Left-side) > 1e-12 || math.Abs(a.Right-side) > 1e-12 || a.Position != c.want {
			t.Errorf("a share of %v: %+v, want %v", c.supine, a, c.want)
		}
	}
}

// Who lies some rows further down and some columns to the side lies as before, and
// the middle of the load has moved by as much.
func TestWhereSomebodyLiesDoesNotMatter(t *testing.T) {
	const rows, columns = 90, 50
	m := Mat{Rows: rows, Columns: columns, PitchMM: [2]float64{28, 25}}
	person := lying(rand.New(rand.NewPCG(7, 8)), 2)
	for i, v := range person {
		if v < 0.5 { // bells have no end: what is cut off has to be nothing
			person[i] = 0
		}
	}
	at := func(down, on int) []float64 {
		out := make([]float64, rows*columns)
		for i, v := range person {
			out[(i/32+down)*columns+i%32+on] = v
		}
		return out
	}
	rec := New(m)
	want := rec.Recognise(at(0, 0))
	_, along, across := rec.Last()
	if want.Position == NotSure && want.Supine+want.Left+want.Right < 0.999 {
		t.Fatalf("%+v", want)
	}
	for _, by := range [][2]int{{1, 0}, {0, 1}, {26, 18}, {13, 7}} {
		near(t, "elsewhere", rec.Recognise(at(by[0], by[1])), want)
		_, y, x := rec.Last()
		if math.Abs(y-along-28*float64(by[0])) > 1e-6 || math.Abs(x-across-25*float64(by[1])) > 1e-6 {
			t.Errorf("moved by %v cells, the middle went from %v, %v to %v, %v mm", by, along, across, y, x)
		}
	}
}

// The same person on a mat of which each cell is four is nearly the same picture:
// nearer than the person with the knees drawn to the other side.
func TestCoarserMats(t *testing.T) {
	fine, coarse := Mat{Rows: 64, Columns: 32, PitchMM: [2]float64{28, 25}}, Mat{Rows: 32, Columns: 16, PitchMM: [2]float64{56, 50}}
	for seed := range uint64(20) {
		values := lying(rand.New(rand.NewPCG(seed, 1)), 4)
		other := lying(rand.New(rand.NewPCG(seed, 1)), -4)
		fours := make([]float64, 32*16)
		for i, v := range values {
			fours[i/64*16+i%32/2] += v / 4
		}
		one, _ := New(fine).Picture(values)
		two, _ := New(coarse).Picture(fours)
		three, _ := New(fine).Picture(other)
		if same, turned := Distance(one, two), Distance(one, three); !(same < 0.02 && same < turned/3) {
			t.Errorf("a coarser mat makes %v of difference, other knees %v", same, turned)
		}
	}
}
