package outline

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"

	"weald/rules/posture"
)

// A lier is somebody invented, who lies stretched out on a bed of 80 by 34 cells of
// 28 by 25 mm. Where the joints are goes by the shares of a stature that textbooks
// of biomechanics reprint from Drillis and Contini (1966), from the crown: shoulder
// 0.18, hip 0.47, ankle 0.96 (from memory).
type lier struct {
	stature float64 // mm
	crown   float64 // mm from the head edge
	middle  float64 // mm from the left edge
	load    float64 // of the pelvis; the rest goes with it
	knees   float64 // how much of the stature the feet are drawn up
	pillow  float64 // between head and shoulders, as a share of the pelvis' load
	heels   float64 // likewise, on the heels
}

var bed = posture.Mat{Rows: 80, Columns: 34, PitchMM: [2]float64{28, 25}}

var stretched = lier{stature: 1700, crown: 200, middle: 425, load: 60, heels: 0.8}

func (p lier) on() []float64 {
	out := make([]float64, bed.Rows*bed.Columns)
	for i := range out {
		y := (float64(i/bed.Columns)+0.5)*28 - p.crown
		x := (float64(i%bed.Columns)+0.5)*25 - p.middle
		part := func(share, tall, wide, aside, load float64) {
			dy, dx := (y-share*p.stature)/tall, (math.Abs(x)-aside)/wide
			out[i] += p.load * load * math.Exp(-(dy*dy+dx*dx)/2)
		}
		part(0.06, 40, 40, 0, 0.5)  // the head
		part(0.21, 60, 110, 0, 0.7) // shoulders
		part(0.125, 40, 100, 0, p.pillow)
		part(0.34, 90, 60, 0, 0.2)   // the small of the back
		part(0.48, 60, 80, 0, 1)     // the pelvis
		part(0.68, 90, 30, 70, 0.25) // thighs
		part(0.96-p.knees, 25, 25, 80, p.heels)
	}
	return out
}

// row is that of a share of the stature.
func (p lier) row(share float64) int { return int((p.crown + share*p.stature) / 28) }

func lies(change func(*lier)) lier {
	p := stretched
	change(&p)
	return p
}

func TestBedOfPeopleOfAnySize(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := lies(func(p *lier) {
			p.stature = rapid.Float64Range(1500, 1900).Draw(t, "stature")
			p.crown = rapid.Float64Range(60, 280).Draw(t, "crown")
			p.middle = rapid.Float64Range(300, 550).Draw(t, "middle")
			p.load = rapid.Float64Range(5, 90).Draw(t, "load")
		})
		a := Bed(&bed, p.on())
		if len(a.Missing) > 0 || len(a.Found) != 4 {
			t.Fatalf("%+v: %+v", p, a)
		}
		column := int(p.middle / 25)
		for i, c := range []struct {
			id    string
			share float64
		}{{Head, 0.06}, {Shoulders, 0.2}, {Pelvis, 0.47}, {Heels, 0.96}} {
			f := a.Found[i]
			if f.ID != c.id || !f.holds(p.row(c.share), column) {
				t.Fatalf("%+v: %s is %v, want row %d, column %d in it", p, c.id, f, p.row(c.share), column)
			}
			if i > 0 && f.Rows[0] <= a.Found[i-1].Rows[1] {
				t.Fatalf("%+v: %v begins before %v ends", p, f, a.Found[i-1])
			}
		}
	})
}

// What is not there is not found, and the sentence says why; the rest is.
func TestBedThatShowsAPart(t *testing.T) {
	for _, c := range []struct {
		name    string
		is      lier
		missing string
		why     string
	}{
		{"no gap below the head", lies(func(p *lier) { p.pillow = 0.8 }), Head, "no gap"},
		{"knees drawn up", lies(func(p *lier) { p.knees = 0.25 }), Heels, "drawn up"},
		{"feet that do not touch", lies(func(p *lier) { p.heels = 0 }), Heels, "do not touch"},
	} {
		a := Bed(&bed, c.is.on())
		if len(a.Found) != 3 || len(a.Missing) != 1 || a.Missing[0].ID != c.missing || !strings.Contains(a.Missing[0].Why, c.why) {
			t.Errorf("%s: %+v", c.name, a)
			continue
		}
		if f := get(t, a, Pelvis); !f.holds(c.is.row(0.47), 17) {
			t.Errorf("%s: pelvis %v", c.name, f)
		}
	}
}

// The load of 32 rows of 28 mm is 896 mm long, and drawn over 90 mm two rows longer:
// the shortest that is looked at has 31 rows.
func TestTheShortestOutline(t *testing.T) {
	for rows, short := range map[int]bool{29: true, 30: true, 31: false, 32: false} {
		values := make([]float64, bed.Rows*bed.Columns)
		for r := range rows {
			for c := range 10 {
				values[(10+r)*bed.Columns+12+c] = 50
			}
		}
		a := Bed(&bed, values)
		if got := len(a.Missing) > 0 && strings.Contains(a.Missing[0].Why, "too short"); got != short {
			t.Errorf("%d rows are too short: %t, want %t: %+v", rows, got, short, a)
		}
	}
}

// Half of the cells are enough, and one less is not.
func TestHalfOfTheCells(t *testing.T) {
	for _, look := range []func() (Answer, int){
		func() (Answer, int) {
			values := stretched.on()
			for i := range len(values)/2 + 1 {
				values[len(values)-1-i] = math.NaN()
			}
			return Bed(&bed, values), 4
		},
		func() (Answer, int) {
			values := ordinary.on()
			for i := range len(values)/2 + 1 {
				values[i] = math.NaN()
			}
			return Seat(&chair, values), 5
		},
	} {
		if a, n := look(); len(a.Missing) != n || a.Missing[0].Why != unknown {
			t.Errorf("with fewer than half: %+v", a)
		}
	}
	values := stretched.on()
	for i := range len(values) / 2 {
		values[len(values)-1-i] = math.NaN()
	}
	if a := Bed(&bed, values); len(a.Missing) == 4 && a.Missing[0].Why == unknown {
		t.Errorf("with half of them: %+v", a)
	}
}

// Which way round a mat lies does not matter: what is found is on the same skin, to
// the cell. From below, what the map shows is the mirror image of that.
func TestWhicheverWayAMatLies(t *testing.T) {
	for _, c := range []struct {
		mat    posture.Mat
		values []float64
		look   func(*posture.Mat, []float64) Answer
	}{{bed, stretched.on(), Bed}, {chair, with(func(p *sitter) { p.lefts, p.leftRow = 30, 22 }).on(), Seat}} {
		want := skin(&c.mat, c.look(&c.mat, c.values))
		if strings.Count(want, "\n") < 4 {
			t.Fatalf("little is found: %s", want)
		}
		upright := c.mat.View()
		for edge := posture.FirstRow; edge <= posture.LastColumn; edge++ {
			for _, below := range []bool{false, true} {
				m := c.mat
				m.Head, m.FromBelow = edge, below
				if edge == posture.FirstColumn || edge == posture.LastColumn {
					m.Rows, m.Columns = m.Columns, m.Rows
					m.PitchMM[0], m.PitchMM[1] = m.PitchMM[1], m.PitchMM[0]
				}
				turned := make([]float64, len(c.values))
				v := m.View()
				for r := range v.Rows {
					for k := range v.Columns {
						turned[v.Cell(r, k)] = c.values[upright.Cell(r, k)]
					}
				}
				if got := skin(&m, c.look(&m, turned)); got != want {
					t.Errorf("head at %d, from below %t: %s, want %s", edge, below, got, want)
				}
			}
		}
	}
}

// skin is an answer by the rows and columns of the view.
func skin(m *posture.Mat, a Answer) string {
	out := ""
	v := m.View()
	for _, f := range a.Found {
		var rows, columns []int
		for r := range v.Rows {
			for c := range v.Columns {
				if at := v.Cell(r, c); f.holds(at/m.Columns, at%m.Columns) {
					rows, columns = append(rows, r), append(columns, c)
				}
			}
		}
		out += fmt.Sprintln(f.ID, slices.Min(rows), slices.Max(rows), slices.Min(columns), slices.Max(columns), len(rows))
	}
	return out + fmt.Sprintln(a.Missing)
}

// In a mirror left is right, and whatever unit the values have is the same.
func TestMirrorsAndUnits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := with(func(p *sitter) {
			p.lefts = rapid.Float64Range(-30, 30).Draw(t, "lefts")
			p.middle = rapid.Float64Range(200, 240).Draw(t, "middle")
			p.apart = rapid.Float64Range(100, 140).Draw(t, "apart")
		})
		values := p.on()
		a := Seat(&chair, values)
		more := slices.Clone(values)
		for i := range more {
			more[i] *= 4 // exact in binary
		}
		if got := Seat(&chair, more); fmt.Sprint(got) != fmt.Sprint(a) {
			t.Fatalf("four times the load: %v, want %v", got, a)
		}
		mirrored := make([]float64, len(values))
		for i, v := range values {
			mirrored[i/20*20+19-i%20] = v
		}
		b := Seat(&chair, mirrored)
		if len(a.Found) != len(b.Found) {
			t.Fatalf("%+v: found %v, in a mirror %v", p, a, b)
		}
		for _, f := range a.Found {
			other := map[string]string{IschialLeft: IschialRight, IschialRight: IschialLeft, ThighLeft: ThighRight, ThighRight: ThighLeft, Sacrum: Sacrum}[f.ID]
			g := get(t, b, other)
			// The middle may be in a column that either half can have.
			if f.Rows != g.Rows || max(f.Columns[0]-(19-g.Columns[1]), (19-g.Columns[1])-f.Columns[0]) > 1 || max(f.Columns[1]-(19-g.Columns[0]), (19-g.Columns[0])-f.Columns[1]) > 1 {
				t.Fatalf("%+v: %v, in a mirror %v", p, f, g)
			}
		}
	})
}

// Two sharp patches on a seat of 10 mm: 70 and 190 mm apart they are sitting bones,
// a cell less or more they are not, and no more than 75 mm before each other.
func TestHowFarSittingBonesAreApart(t *testing.T) {
	const n = 40
	m := posture.Mat{Rows: n, Columns: n, PitchMM: [2]float64{10, 10}}
	for _, c := range []struct {
		apart, before int // cells
		why           string
	}{
		{7, 0, ""}, {6, 0, "60 mm apart"}, {12, 0, ""}, {19, 0, ""}, {20, 0, "200 mm apart"},
		{12, 7, ""}, {12, 8, "80 mm before"},
	} {
		values := make([]float64, n*n)
		patch := func(row, column int, v float64) {
			for r := -2; r <= 2; r++ {
				for k := -2; k <= 2; k++ {
					values[(row+r)*n+column+k] += v
				}
			}
		}
		for r := 5; r < 35; r++ {
			for k := 5; k < 35; k++ {
				values[r*n+k] = 20
			}
		}
		left := 20 - c.apart/2
		patch(10, left, 60)
		patch(10+c.before, left+c.apart, 60)
		a := Seat(&m, values)
		switch {
		case c.why == "" && len(a.Found) != 5:
			t.Errorf("%d cells apart and %d before: %+v", c.apart, c.before, a)
		case c.why != "" && (len(a.Found) != 0 || !strings.Contains(a.Missing[0].Why, c.why)):
			t.Errorf("%d cells apart and %d before: %+v, want none for %q", c.apart, c.before, a, c.why)
		}
	}
}

// The profile is the rows' loads, each row weighed down from its middle to nothing
// over 90 mm, by gonum.
func TestProfileAgainstWeightedMeans(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := posture.Mat{Rows: rapid.IntRange(2, 30).Draw(t, "rows"), Columns: rapid.IntRange(1, 5).Draw(t, "columns"),
			PitchMM: [2]float64{rapid.SampledFrom([]float64{10, 18, 28, 30, 45, 100}).Draw(t, "pitch"), 25}}
		values := rapid.SliceOfN(rapid.Float64Range(1, 60), m.Rows*m.Columns, m.Rows*m.Columns).Draw(t, "values")
		s := newSheet(&m, values)
		got := s.profile()
		// How many rows either side: of 90 mm, the row itself taken off, half.
		reach := map[float64]int{10: 4, 18: 2, 28: 1, 30: 1, 45: 1, 100: 0}[m.PitchMM[0]]
		sums := make([]float64, m.Rows)
		for i, v := range s.cells {
			sums[i/m.Columns] += v
		}
		for r := range sums {
			weights := make([]float64, m.Rows)
			for k := range weights {
				weights[k] = math.Max(0, float64(reach+1)-math.Abs(float64(k-r)))
			}
			if want := stat.Mean(sums, weights); math.Abs(got[r]-want) > 1e-9*(1+want) {
				t.Fatalf("row %d of %+v is %v, want %v", r, m, got[r], want)
			}
		}
		rows := make([]float64, m.Rows)
		for r := range rows {
			rows[r] = float64(r)
		}
		if want := stat.Mean(rows, got); math.Abs(got.centre()-want) > 1e-9*(1+want) {
			t.Fatalf("the middle is in row %v, want %v", got.centre(), want)
		}
		top := slices.Max(got)
		first := slices.IndexFunc(got, func(v float64) bool { return v >= top/50 })
		last := len(got) - 1
		for got[last] < top/50 {
			last--
		}
		if f, l := got.ends(); f != first || l != last {
			t.Fatalf("the outline is from %d to %d, want %d to %d", f, l, first, last)
		}
	})
}

// Rows by hand: of equals the first is the heaviest, and a summit has to be within
// what it is asked of and no lower than either neighbour.
func TestSummits(t *testing.T) {
	p := profile{0, 4, 4, 1, 5, 9, 9, 2, 3}
	for _, c := range []struct{ from, to, heaviest, summit int }{
		{0, 8, 5, 5}, {0, 3, 1, 1}, {2, 3, 2, 2}, {3, 4, 4, -1}, {7, 8, 8, -1}, {-5, 1, 1, 1}, {6, 40, 6, 6}, {8, 8, 8, -1}, {0, 0, 0, -1},
	} {
		if got := p.heaviest(c.from, c.to); got != c.heaviest {
			t.Errorf("heaviest of %d to %d: %d, want %d", c.from, c.to, got, c.heaviest)
		}
		at, ok := p.summit(c.from, c.to)
		if ok != (c.summit >= 0) || ok && at != c.summit {
			t.Errorf("summit of %d to %d: %d, %t, want %d", c.from, c.to, at, ok, c.summit)
		}
	}
}

// Where the load only falls, or only rises, there is no summit.
func TestSlopesHaveNoSummit(t *testing.T) {
	for _, p := range []profile{{9, 7, 5, 3, 2}, {2, 3, 5, 7, 9}} {
		if at, ok := p.summit(1, 3); ok {
			t.Errorf("%v has a summit at %d", p, at)
		}
	}
}
