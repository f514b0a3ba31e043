package hold_test

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/rules/hold"
	"weald/rules/hold/holdtest"
)

// every draws readings of n cells, of which neighbours are mostly alike, with all that a
// broken sensor may deliver.
func every(t *rapid.T, n int) []float64 {
	odd := rapid.SampledFrom([]float64{math.Inf(1), math.Inf(-1), math.NaN(), math.MaxFloat64, -math.MaxFloat64, 0, 30, 32, 32 + 1e-9, math.Nextafter(32+1e-9, 99), 34})
	out := make([]float64, n)
	all := odd.Draw(t, "all")
	for i := range out {
		if out[i] = all; rapid.IntRange(0, 3).Draw(t, "alone") == 0 {
			out[i] = odd.Draw(t, "value")
		}
	}
	return out
}

// upTo lists the numbers below n.
func upTo(n int) (out []int) {
	for i := range n {
		out = append(out, i)
	}
	return out
}

// Cells that are looked at eight at a time, one by one, or because they are named, do the
// same, whatever is read of them, on either side of a limit, and however many there are.
func TestHoweverCellsAreLookedAt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 19).Draw(t, "n")
		spec := holdtest.DrawSettings(t).Spec()
		deadband := rapid.SampledFrom([]float64{0, 2}).Draw(t, "deadband")
		band := rapid.SampledFrom([]hold.Band{hold.Above(32, deadband), hold.Below(32, deadband), hold.Outside(30, 34, deadband), hold.Above(math.Inf(1), 0)}).Draw(t, "band")
		together, named := hold.NewCells(n, nil, spec, band), hold.NewCells(n, upTo(n), spec, band)
		for range 6 {
			span := ms(rapid.IntRange(0, 90).Draw(t, "span"))
			values := every(t, n)
			one, other := fmt.Sprint(together.Advance(span)), fmt.Sprint(named.Advance(span))
			together.Set(values)
			named.Set(values)
			one += fmt.Sprint(together.Advance(0), together.Raised())
			other += fmt.Sprint(named.Advance(0), named.Raised())
			for i := range n {
				a, is := together.State(i)
				b, was := named.State(i)
				one, other = one+fmt.Sprint(a.Held, a.Off, a.Raised, is), other+fmt.Sprint(b.Held, b.Off, b.Raised, was)
			}
			if one != other {
				t.Fatalf("%v\ntogether %s\nnamed    %s", values, one, other)
			}
		}
	})
}

// Where on the mat a cell is does not matter: turned round by any number of cells, the
// same ones turn at the same instants.
func TestCellsHaveNoPlace(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 19).Draw(t, "n")
		by := rapid.IntRange(0, n-1).Draw(t, "by")
		s := holdtest.DrawSettings(t)
		here, there := hold.NewCells(n, nil, s.Spec(), hold.Above(32, 2)), hold.NewCells(n, nil, s.Spec(), hold.Above(32, 2))
		there.Advance(ms(12_345)) // nor when it begins
		for range 6 {
			span := ms(rapid.IntRange(0, 90).Draw(t, "span"))
			values := every(t, n)
			turns := slices.Clone(here.Advance(span))
			moved := slices.Clone(there.Advance(span))
			here.Set(values)
			there.Set(append(slices.Clone(values[n-by:]), values[:n-by]...))
			turns, moved = append(turns, here.Advance(0)...), append(moved, there.Advance(0)...)
			for i := range turns {
				turns[i].Cell = (turns[i].Cell + by) % n
			}
			order := func(a, b hold.Turn) int { return 100*int(a.Offset-b.Offset) + a.Cell - b.Cell }
			slices.SortFunc(turns, order)
			slices.SortFunc(moved, order)
			if fmt.Sprint(turns) != fmt.Sprint(moved) {
				t.Fatalf("%v, turned by %d: %v", turns, by, moved)
			}
		}
	})
}

// Time that passes in pieces brings what it brings in one, at the same instants.
func TestCellsAndCuts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const n = 9
		s := holdtest.DrawSettings(t)
		whole, cut := hold.NewCells(n, nil, s.Spec(), hold.Above(32, 2)), hold.NewCells(n, nil, s.Spec(), hold.Above(32, 2))
		for range 6 {
			values := every(t, n)
			whole.Set(values)
			cut.Set(values)
			check(t, whole.Advance(0), cut.Advance(0))
			span := rapid.IntRange(1, 200).Draw(t, "span")
			want := whole.Advance(ms(span))
			var got []hold.Turn
			for left := span; left > 0; {
				step := rapid.IntRange(1, left).Draw(t, "step")
				for _, turn := range cut.Advance(ms(step)) {
					turn.Offset += ms(span - left)
					got = append(got, turn)
				}
				left -= step
			}
			if fmt.Sprint(got) != fmt.Sprint(want) {
				t.Fatalf("in one %v, in pieces %v", want, got)
			}
		}
	})
}

// Of some cells the first that is raised and known is told, else the first that is raised.
func TestRaisedKnown(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const n = 6
		c := hold.NewCells(n, nil, hold.Spec{ForgetAfter: time.Hour, OffDelay: time.Hour}, hold.Above(32, 0))
		for range 3 {
			c.Set(every(t, n))
			c.Advance(time.Second)
		}
		cells := rapid.SliceOfNDistinct(rapid.IntRange(0, n-1), 0, n, rapid.ID).Draw(t, "cells")
		want, known := -1, false
		for k := len(cells) - 1; k >= 0; k-- { // from the last to the first, which stays
			s, cond := c.State(cells[k])
			if is := cond != sample.Maybe; s.Raised && (is || !known) {
				want, known = cells[k], is
			}
		}
		if got, is := c.RaisedKnown(cells); got != want || is != known {
			t.Fatalf("of %v %d, %v; want %d, %v", cells, got, is, want, known)
		}
	})
}

// Delays without an end, after any time: nothing is due, nothing overflows, and
// the snapshot is read.
func TestCellsThatOnlyCount(t *testing.T) {
	for _, delay := range []time.Duration{hold.Forever, math.MaxInt64} {
		spec := hold.Spec{OnDelay: delay, ResetsAfter: time.Minute, ForgetAfter: math.MaxInt64}
		c := hold.NewCells(3, nil, spec, hold.Above(32, 0))
		c.Advance(time.Hour)
		c.Set([]float64{40, 40, 10})
		fresh := hold.NewCells(3, nil, spec, hold.Above(32, 0))
		if _, err := fresh.Read(c.Append(nil)); err != nil {
			t.Fatalf("with a delay of %v its own snapshot is refused: %v", delay, err)
		}
		for range 20 {
			if turns := c.Advance(365 * 24 * time.Hour); len(turns) != 0 {
				t.Fatalf("after a delay of %v: %v", delay, turns)
			}
			if in, ok := c.Next(); ok && in <= 0 {
				t.Fatalf("with a delay of %v something is due in %v", delay, in)
			}
		}
		if held := c.Held(nil); held[0] != 20*365*24*time.Hour || held[2] != 0 {
			t.Errorf("held for %v", held)
		}
	}
}

// A scan of a mat allocates nothing once as many cells have held something as will.
func TestAScanAllocatesNothing(t *testing.T) {
	const n = 2048
	c := hold.NewCells(n, nil, hold.Spec{OnDelay: 3 * time.Second, OffDelay: 2 * time.Second, ForgetAfter: time.Minute}, hold.Above(32, 2))
	values, held, k := make([]float64, n), []time.Duration(nil), 0
	scan := func() {
		for i := range values {
			values[i] = 40 * math.Abs(math.Sin(float64(i+7*k)/20))
		}
		k++
		c.Advance(time.Second)
		c.Set(values)
		c.Advance(0)
		held = c.Held(held)
	}
	for range 200 {
		scan()
	}
	if got := testing.AllocsPerRun(100, scan); got != 0 {
		t.Errorf("%v allocations a scan", got)
	}
}

// A reading that lasted no time never was: with delays of zero, what comes and goes at one
// instant raises nothing that anybody is told of later.
func TestWhatLastsNoTimeNeverWas(t *testing.T) {
	c := hold.NewCells(1, nil, hold.Spec{ForgetAfter: time.Hour}, hold.Above(32, 0))
	for k := range 4 {
		for _, v := range []float64{40, 10, 40, math.NaN(), 10} {
			c.Set([]float64{v})
		}
		if turns := c.Advance(0); len(turns) != 0 {
			t.Errorf("step %d: %v", k, turns)
		}
		if s, _ := c.State(0); s.Raised || s.Held != 0 || c.Raised() != 0 {
			t.Errorf("step %d: %+v, %d raised", k, s, c.Raised())
		}
		c.Advance(time.Second)
	}
}
