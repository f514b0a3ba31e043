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

// cellsN is how many there are: eight that are looked at together, and some more.
const cellsN = 11

// Cells must do, cell by cell, exactly what a Band and a State do, whether
// neighbours are alike or not.
func TestCellsAgreeWithStates(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const n = cellsN
		s := holdtest.DrawSettings(t)
		spec, band := s.Spec(), hold.Above(s.Limit, s.Deadband)
		var which []int
		if rapid.Bool().Draw(t, "subset") {
			which = []int{1, 2, 4}
		}
		cells := hold.NewCells(n, which, spec, band)
		var states [n]hold.State
		var mems [n]hold.Memory
		var conds [n]sample.Truth
		var held []time.Duration
		for range rapid.IntRange(1, 30).Draw(t, "n") {
			span := ms(rapid.IntRange(0, 90).Draw(t, "span"))
			check(t, cells.Advance(span), advanceAll(&states, &conds, &spec, span))
			switch rapid.IntRange(0, 9).Draw(t, "event") {
			case 0:
				cells.Silence()
				conds = [n]sample.Truth{}
			default:
				values := make([]float64, n)
				all := float64(rapid.IntRange(26, 38).Draw(t, "all"))
				alone := rapid.SampledFrom([]int{0, 1, n}).Draw(t, "of their own")
				for i := range values {
					if values[i] = all; i < alone {
						values[i] = float64(rapid.IntRange(28, 36).Draw(t, "v"))
						if rapid.IntRange(0, 7).Draw(t, "missing") == 0 {
							values[i] = math.NaN()
						}
					}
					if which == nil || slices.Contains(which, i) {
						conds[i], mems[i] = band.Judge(values[i], mems[i])
					}
				}
				cells.Set(values)
			}
			check(t, cells.Advance(0), advanceAll(&states, &conds, &spec, 0))
			raised := 0
			held = cells.Held(held)
			for i := range states {
				if held[i] != states[i].Held {
					t.Fatalf("cell %d held for %v, want %v", i, held[i], states[i].Held)
				}
				if got, cond := cells.State(i); got.Held != states[i].Held || got.Raised != states[i].Raised || got.Off != states[i].Off || cond != conds[i] {
					t.Fatalf("cell %d is %+v (%v), want %+v (%v)", i, got, cond, states[i], conds[i])
				}
				if states[i].Raised {
					raised++
				}
				if in, ok := states[i].Next(&spec, conds[i]); ok {
					if got, gotOK := cells.Next(); !gotOK || got > in || got <= 0 {
						t.Fatalf("cell %d changes in %v, but Next says %v, %v", i, in, got, gotOK)
					}
				}
			}
			if cells.Raised() != raised {
				t.Fatalf("%d raised, want %d", cells.Raised(), raised)
			}
		}
	})
}

func advanceAll(states *[cellsN]hold.State, conds *[cellsN]sample.Truth, spec *hold.Spec, span time.Duration) []hold.Turn {
	var turns []hold.Turn
	for i := range states {
		if span == 0 && conds[i] != sample.Maybe || span > 0 {
			if change, at := states[i].Advance(spec, span, conds[i]); change != hold.None {
				turns = append(turns, hold.Turn{Cell: i, Change: change, Offset: at})
			}
		}
	}
	slices.SortStableFunc(turns, func(a, b hold.Turn) int {
		if a.Offset != b.Offset {
			return int(a.Offset - b.Offset)
		}
		return int(a.Change) - int(b.Change)
	})
	return turns
}

func check(t *rapid.T, got, want []hold.Turn) {
	if fmt.Sprint(got) != fmt.Sprint(want) {
		t.Fatalf("turns %v, want %v", got, want)
	}
}

// The cost of a cell whose condition stays what it was, beside a bare loop that
// compares the same values with the same limit.
func BenchmarkCells(b *testing.B) {
	const n = 2048
	values := make([]float64, n)
	for i := range values {
		values[i] = 40 * math.Abs(math.Sin(float64(i)/20))
	}
	b.Run("bare", func(b *testing.B) {
		above := 0
		for b.Loop() {
			for _, v := range values {
				if v > 32 {
					above++
				}
			}
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/n, "ns/cell")
	})
	for _, name := range []string{"steady", "rippling"} {
		b.Run(name, func(b *testing.B) {
			c := hold.NewCells(n, nil, hold.Spec{OnDelay: time.Hour, OffDelay: time.Minute}, hold.Above(32, 2))
			b.ReportAllocs()
			at := 0
			for b.Loop() {
				if name == "rippling" { // a tenth of the cells turn every scan
					for i := at % 10; i < n; i += 10 {
						values[i] = 64 - values[i]
					}
					at++
				}
				c.Advance(time.Second)
				c.Set(values)
				c.Advance(0)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/n, "ns/cell")
		})
	}
}
