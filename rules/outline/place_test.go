package outline

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"weald/rules/posture"
)

// moved puts a map of so many columns onto a larger one, whose first cell is then at a row
// and a column of that. What presses with less than a hundredth of the greatest is cut off,
// as the invented bells have no end.
func moved(values []float64, columns int, onto *posture.Mat, row, column int) []float64 {
	out := make([]float64, onto.Rows*onto.Columns)
	least := slices.Max(values) / 100
	for i, v := range values {
		if v >= least {
			out[(row+i/columns)*onto.Columns+column+i%columns] = v
		}
	}
	return out
}

func (r Region) by(rows, columns int) Region {
	for i := range 2 {
		r.Rows[i], r.Columns[i] = r.Rows[i]+rows, r.Columns[i]+columns
	}
	return r
}

// Where on a mat somebody lies or sits does not matter: as many cells further down or to the
// side, each region is where it was on them.
func TestWhereOnAMatDoesNotMatter(t *testing.T) {
	largeBed := posture.Mat{Rows: bed.Rows + 12, Columns: bed.Columns + 9, PitchMM: bed.PitchMM}
	largeChair := posture.Mat{Rows: chair.Rows + 12, Columns: chair.Columns + 9, PitchMM: chair.PitchMM}
	lain, sat := stretched.on(), ordinary.on()
	rapid.Check(t, func(t *rapid.T) {
		rows, columns := rapid.IntRange(1, 11).Draw(t, "rows"), rapid.IntRange(1, 8).Draw(t, "columns")
		for what, c := range map[string]struct {
			look    func(*posture.Mat, []float64) Answer
			mat     posture.Mat
			values  []float64
			columns int
		}{"lies": {Bed, largeBed, lain, bed.Columns}, "sits": {Seat, largeChair, sat, chair.Columns}} {
			want := c.look(&c.mat, moved(c.values, c.columns, &c.mat, 1, 1))
			got := c.look(&c.mat, moved(c.values, c.columns, &c.mat, rows, columns))
			if len(want.Found) < 3 || len(want.Found) != len(got.Found) || !slices.Equal(want.Missing, got.Missing) {
				t.Fatalf("who %s further on: %+v, want %+v", what, got, want)
			}
			for i, r := range want.Found {
				if got.Found[i] != r.by(rows-1, columns-1) {
					t.Fatalf("who %s %d rows and %d columns further on: %+v, want %+v", what, rows-1, columns-1, got.Found[i], r.by(rows-1, columns-1))
				}
			}
		}
	})
}

// Each region that is looked for is found or missing, once, in the order from the head or the
// back on, with what spoke for or against it, whatever is on the mat.
func TestEachRegionIsFoundOrMissing(t *testing.T) {
	names := map[bool][]string{}
	for lies, a := range map[bool]Answer{true: Bed(&posture.Mat{Rows: 1, Columns: 1}, []float64{0}), false: Seat(&posture.Mat{Rows: 1, Columns: 1}, []float64{0})} {
		for _, m := range a.Missing {
			names[lies] = append(names[lies], m.ID)
		}
	}
	if !slices.Equal(names[true], []string{Head, Shoulders, Pelvis, Heels}) || !slices.Equal(names[false], []string{Sacrum, IschialLeft, IschialRight, ThighLeft, ThighRight}) {
		t.Fatalf("looked for are %v", names)
	}
	lain, sat := stretched.on(), ordinary.on()
	rapid.Check(t, func(t *rapid.T) {
		// Somebody of whom a part does not press, and to whom something is added.
		from, to := rapid.IntRange(0, 79).Draw(t, "from"), rapid.IntRange(0, 79).Draw(t, "to")
		spot, load := rapid.IntRange(0, len(sat)-1).Draw(t, "spot"), rapid.SampledFrom([]float64{0, 30, 400}).Draw(t, "load")
		part := func(values []float64, columns int) []float64 {
			out := slices.Clone(values)
			for i := range out {
				if row := i / columns; row >= from && row < to {
					out[i] = 0
				}
			}
			out[spot] += load
			return out
		}
		for lies, a := range map[bool]Answer{true: Bed(&bed, part(lain, bed.Columns)), false: Seat(&chair, part(sat, chair.Columns))} {
			found, missing := 0, 0
			for _, id := range names[lies] {
				switch {
				case found < len(a.Found) && a.Found[found].ID == id && a.Found[found].Why != "":
					found++
				case missing < len(a.Missing) && a.Missing[missing].ID == id && a.Missing[missing].Why != "":
					missing++
				default:
					t.Fatalf("%s is not in its place: %+v", id, a)
				}
			}
			if found != len(a.Found) || missing != len(a.Missing) {
				t.Fatalf("nobody looked for all of %+v", a)
			}
		}
	})
}
