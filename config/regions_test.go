package config

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"weald/rules"
)

func TestBedTemplate(t *testing.T) {
	whole := func(n int) [2]int { return [2]int{0, n - 1} }
	ids := []string{"head", "shoulders", "back", "pelvis", "thighs", "calves", "heels"}
	for head, spans := range map[Edge][][2]int{
		// 32 rows, counted from the head: 12 % of 32 is 3.84, so the centres of
		// rows 0 to 2 (0.5 to 2.5) and of row 3 (3.5) are in it.
		FirstRow: {{0, 3}, {4, 7}, {8, 12}, {13, 18}, {19, 23}, {24, 28}, {29, 31}},
		LastRow:  {{28, 31}, {24, 27}, {19, 23}, {13, 18}, {8, 12}, {3, 7}, {0, 2}},
		// 64 columns.
		FirstColumn: {{0, 7}, {8, 15}, {16, 26}, {27, 36}, {37, 47}, {48, 57}, {58, 63}},
		LastColumn:  {{56, 63}, {48, 55}, {37, 47}, {27, 36}, {16, 26}, {6, 15}, {0, 5}},
	} {
		var want []Region
		for i, id := range ids {
			r := Region{ID: id, Rows: spans[i], Columns: whole(64)}
			if head == FirstColumn || head == LastColumn {
				r = Region{ID: id, Rows: whole(32), Columns: spans[i]}
			}
			want = append(want, r)
		}
		got := template(rules.Bed, &Mat{Rows: 32, Columns: 64, Head: head})
		if d := cmp.Diff(want, got); d != "" {
			t.Errorf("%s: %s", head, d)
		}
	}
}

// Whatever its size, the bands of a bed share its cells out without a gap.
func TestBedTemplateCoversTheMat(t *testing.T) {
	for n := 1; n <= 80; n++ {
		m := &Mat{Rows: n, Columns: 3, Head: LastRow}
		seen := map[int]string{}
		for _, r := range template(rules.Bed, m) {
			for _, cell := range m.Cells(r) {
				if other, twice := seen[cell]; twice {
					t.Fatalf("%d rows: cell %d is in %s and %s", n, cell, other, r.ID)
				}
				seen[cell] = r.ID
			}
		}
		if len(seen) != n*3 {
			t.Fatalf("%d rows: %d cells of %d are in a region", n, len(seen), n*3)
		}
	}
}

// A person sits on a mat of 5 rows and 4 columns, seen from above. The marks are
// the quarters as the person sees them: L and R in front, l and r at the back.
func TestSeatTemplate(t *testing.T) {
	mark := map[string]byte{"front_left": 'L', "front_right": 'R', "back_left": 'l', "back_right": 'r'}
	for head, want := range map[Edge]string{
		FirstRow:    "rrll rrll rrll RRLL RRLL", // looks down the page
		LastRow:     "LLRR LLRR llrr llrr llrr", // looks up
		FirstColumn: "llLL llLL rrRR rrRR rrRR", // looks to the right
		LastColumn:  "RRrr RRrr RRrr LLll LLll", // looks to the left
	} {
		m := &Mat{Rows: 5, Columns: 4, Head: head}
		grid := []byte("????????????????????")
		for _, r := range template(rules.Seat, m) {
			for _, cell := range m.Cells(r) {
				grid[cell] = mark[r.ID]
			}
		}
		got := ""
		for row := range 5 {
			if row > 0 {
				got += " "
			}
			got += string(grid[row*4 : row*4+4])
		}
		if got != want {
			t.Errorf("%s: got %s, want %s", head, got, want)
		}
	}
}

func TestNoTemplate(t *testing.T) {
	if got := template(rules.Wrap, &Mat{Rows: 8, Columns: 8, Head: FirstRow}); got != nil {
		t.Errorf("a wrap gets %v", got)
	}
	if got := template(rules.Seat, &Mat{Rows: 1, Columns: 8, Head: FirstRow}); got != nil {
		t.Errorf("a seat of one row gets %v", got)
	}
}
