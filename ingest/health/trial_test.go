package health

import (
	"math/rand/v2"
	"testing"
	"time"
)

// A sleeper lies on rows 4 to 27 of a mat of 32 x 16 and turns every 100 s, with
// a count of noise. What is not under the body reads 0.
func sleeper() func(n, i int) float64 {
	r := rand.New(rand.NewPCG(3, 4))
	return func(n, i int) float64 {
		row, column := i/16, i%16
		if row < 4 || row > 27 || column < 3 || column > 12 {
			return 0
		}
		return float64(400 + 20*row + n/100%4*150 + r.IntN(3) - 1)
	}
}

var bed = Config{Channels: 512, Rows: 32, Columns: 16}

const under = 15*16 + 8 // a cell under the sleeper

// with is a mat on which some cells read something else.
func with(reading func(n, i int) float64, other map[int]func(n int) float64) func(n, i int) float64 {
	return func(n, i int) float64 {
		v := reading(n, i)
		if f := other[i]; f != nil {
			return f(n)
		}
		return v
	}
}

func always(v float64) func(int) float64 { return func(int) float64 { return v } }

func TestIdleIsNotStuck(t *testing.T) {
	r := newRig(t, bed, time.Second)
	r.run(24*time.Hour, func(n, i int) float64 { return 0 })
	r.wants("a mat without a body, for a day", nil)
	if got := r.report().Untried; got != 512 {
		t.Errorf("%d cells are untried, want all", got)
	}
	r.run(6*time.Hour, sleeper())
	r.wants("a sleeper, whose sides are idle", nil)
	if got := r.report().Untried; got != 512-24*10 {
		t.Errorf("%d cells are untried, want those beside the body, %d", got, 512-24*10)
	}
	r.run(24*time.Hour, func(n, i int) float64 { return 0 })
	r.wants("empty again", nil)
}

// A body that does not stir at all, in which not one count changes, as with a
// coarse sensor: no neighbour moves, so nobody ought to have.
func TestMotionlessIsNotStuck(t *testing.T) {
	r := newRig(t, bed, time.Second)
	r.run(time.Hour, sleeper())
	r.run(24*time.Hour, func(n, i int) float64 { return float64(i % 16 * 100) })
	r.wants("nothing changes for a day", nil)
}

func TestDead(t *testing.T) {
	r := newRig(t, bed, time.Second)
	r.run(10*time.Minute, with(sleeper(), map[int]func(int) float64{under: always(0)}))
	r.wants("too early", nil)
	r.run(20*time.Minute, with(sleeper(), map[int]func(int) float64{under: always(0)}))
	r.wants("half an hour", map[int]State{under: Dead})
	f := r.finding(under)
	if f.Since != r.m.first || f.Row != 15 || f.Column != 8 || f.Trials < failsAllowed || f.Reading != 0 || !f.LeftOut {
		t.Errorf("%+v, want a dead cell in row 15, column 8 since the first scan, left out", f)
	}
	raw, values := make([]float64, 512), make([]float64, 512)
	if n := r.m.Withhold(raw, values); n != 1 || values[under] == values[under] {
		t.Errorf("%d values withheld, want that of the dead cell", n)
	}
	raw[under], values[under] = 3000, 150
	if n := r.m.Withhold(raw, values); n != 0 || values[under] != 150 {
		t.Errorf("%d values withheld of a scan in which the cell answers, want none at once", n)
	}
	r.run(3*time.Minute, sleeper())
	r.wants("it answers", nil)
	if rep := r.report(); rep.LeftOut != 0 || len(rep.Findings) != 0 {
		t.Errorf("%+v, want nothing left of it", rep)
	}
}

func TestOneSpikeIsNoAnswer(t *testing.T) {
	r := newRig(t, bed, time.Second)
	spike := func(n int) float64 {
		if n%1800 < 3 { // so long that a look cannot miss it, and no longer than one look
			return 4000
		}
		return 0
	}
	r.run(2*time.Hour, with(sleeper(), map[int]func(int) float64{under: spike}))
	if s, _ := r.m.State(under); s != Dead && s != Stuck {
		t.Errorf("a dead cell with a spike every half hour is %v", s)
	}
}

func TestStuckLow(t *testing.T) {
	r := newRig(t, bed, time.Second)
	r.run(time.Hour, sleeper())
	broke := r.at
	r.run(time.Hour, with(sleeper(), map[int]func(int) float64{under: always(2)}))
	r.wants("an hour later", map[int]State{under: Stuck})
	if f := r.finding(under); f.Since < broke || f.Since > broke.Add(time.Minute) || !f.LeftOut {
		t.Errorf("%+v, want it stuck since %v and left out", f, broke)
	}
}

// What is stuck at a high reading is said, and stays in the signals.
func TestStuckHigh(t *testing.T) {
	for _, level := range []float64{900, 2500, 4094} {
		r := newRig(t, bed, time.Second)
		r.run(time.Hour, sleeper())
		r.run(6*time.Hour, with(sleeper(), map[int]func(int) float64{under: always(level)}))
		r.wants("six hours later", map[int]State{under: Stuck})
		if f := r.finding(under); f.LeftOut || f.Reading != level {
			t.Errorf("%+v, want it kept", f)
		}
		raw, values := make([]float64, 512), make([]float64, 512)
		raw[under] = level
		if n := r.m.Withhold(raw, values); n != 0 {
			t.Errorf("stuck at %v: %d values withheld", level, n)
		}
	}
}

// The rail explains why a cell does not change.
func TestSaturatedIsNotStuck(t *testing.T) {
	r := newRig(t, bed, time.Second)
	r.run(12*time.Hour, with(sleeper(), map[int]func(int) float64{under: always(4095)}))
	r.wants("twelve hours at the rail", map[int]State{under: Saturated})
	if f := r.finding(under); f.Since > r.at.Add(-12*time.Hour+2*time.Minute) || f.LeftOut {
		t.Errorf("%+v, want it at the rail since the first look", f)
	}
	r.run(3*time.Minute, sleeper())
	r.wants("relieved", nil)
}

func TestPairsAndLines(t *testing.T) {
	zero := func(cells ...int) map[int]func(int) float64 {
		m := map[int]func(int) float64{}
		for _, i := range cells {
			m[i] = always(0)
		}
		return m
	}
	var row, column []int
	for k := range 16 {
		row = append(row, 15*16+k)
	}
	for k := range 32 {
		column = append(column, k*16+8)
	}
	for name, cells := range map[string][]int{"side by side": {under, under + 1}, "one above the other": {under, under + 16}, "a row": row, "a column": column} {
		r := newRig(t, bed, time.Second)
		r.run(time.Hour, with(sleeper(), zero(cells...)))
		want := map[int]State{}
		for _, i := range cells {
			want[i] = Dead
		}
		r.wants(name, want)
		rep := r.report()
		if rep.Dead != len(cells) || rep.LeftOut != len(cells) {
			t.Errorf("%s: %+v, want %d dead and left out", name, rep, len(cells))
		}
		if name == "a row" && (len(rep.Rows) != 1 || rep.Rows[0] != 15 || len(rep.Columns) != 0) ||
			name == "a column" && (len(rep.Columns) != 1 || rep.Columns[0] != 8 || len(rep.Rows) != 0) {
			t.Errorf("%s: rows %v, columns %v", name, rep.Rows, rep.Columns)
		}
		r.run(5*time.Minute, sleeper())
		if rep := r.report(); rep.LeftOut != 0 || len(rep.Rows) != 0 || len(rep.Columns) != 0 {
			t.Errorf("%s, mended: %+v", name, rep)
		}
	}
}

// A hole of two by two may be the body's own, and a gap between two legs is.
func TestHolesOfTheBody(t *testing.T) {
	r := newRig(t, bed, time.Second)
	body := sleeper()
	r.run(6*time.Hour, func(n, i int) float64 {
		v, row, column := body(n, i), i/16, i%16
		if row > 17 && column == 8 || (row == 8 || row == 9) && (column == 6 || column == 7) {
			return 0
		}
		return v
	})
	r.wants("a gap one cell wide that is open at the foot, and a hole", nil)
}

// Where only the four cells at its edges move, a cell may be left out by chance.
func TestFewWitnesses(t *testing.T) {
	r := newRig(t, Config{Channels: 25, Rows: 5, Columns: 5}, 100*time.Millisecond)
	r.run(4*time.Hour, func(n, i int) float64 {
		switch i {
		case 7, 11, 13, 17:
			return float64(n / 100 % 5 * 200)
		}
		return 0
	})
	r.wants("a cross of four around one", nil)
}

// Between a shin and a foot there may be a row that nothing touches, and two
// cells beside it do not speak for the whole row.
func TestNarrowLine(t *testing.T) {
	r := newRig(t, bed, time.Second)
	body := sleeper()
	r.run(6*time.Hour, func(n, i int) float64 {
		if row, column := i/16, i%16; row == 15 || column < 7 || column > 8 {
			return 0
		}
		return body(n, i)
	})
	r.wants("two columns, interrupted", nil)
}

// In a group everybody feels the same; two cannot outvote each other.
func TestGroups(t *testing.T) {
	for _, c := range []struct {
		members int
		want    State
	}{{1, Sound}, {2, Sound}, {3, Dead}, {4, Dead}} {
		var group []int
		for i := range c.members {
			group = append(group, i)
		}
		r := newRig(t, Config{Channels: 4, Together: [][]int{group}}, 100*time.Millisecond)
		r.run(time.Hour, func(n, i int) float64 {
			if i == 0 {
				return 7
			}
			return float64(100*i + n/100%5*40)
		})
		r.wants("an hour", map[int]State{0: c.want})
	}
}

func TestFallingReadings(t *testing.T) {
	c := bed
	c.Falling = true
	body := sleeper()
	fall := func(n, i int) float64 { return 3000 - body(n, i) }
	r := newRig(t, c, time.Second)
	r.run(time.Hour, with(fall, map[int]func(int) float64{under: always(3000), under + 2: always(100)}))
	r.wants("one without load, one with much", map[int]State{under: Dead, under + 2: Dead})
	if f := r.finding(under); !f.LeftOut || f.Reading != 3000 {
		t.Errorf("%+v, want it left out: it is stuck at no load", f)
	}
	if f := r.finding(under + 2); f.LeftOut || f.Reading != 100 {
		t.Errorf("%+v, want it kept: 100 is a great load", f)
	}
}
