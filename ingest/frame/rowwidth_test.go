package frame

import (
	"slices"
	"strings"
	"testing"
)

// widths collects what is odd about accepted rows.
type widths struct {
	rows int
	odd  []Width
}

func (w *widths) Frame(f *Frame) {
	if w.rows++; f.Wide.Columns > 0 {
		w.odd = append(w.odd, f.Wide)
	}
}
func (w *widths) Bad(*Bad) {}

func TestRowsThatAreTooWideAreTold(t *testing.T) {
	for name, c := range map[string]struct {
		text   string
		header int
		space  bool
		fixed  int
		rows   int
		want   []Width
	}{
		"decimal commas in some rows":   {text: "0,40,20\n1,40,5,20,5\n2,41,20\n3,41,20,5\n", rows: 4, want: []Width{{5, 3, 2}, {4, 3, 4}}},
		"decimal commas in every row":   {text: "s,ankle,calf\n0,40,5,20,5\n1,41,5,20,5\n", header: 1, rows: 2, want: []Width{{5, 3, 2}, {5, 3, 3}}},
		"more titles than the rows use": {text: "s,ankle,calf,note\n0,40,20\n1,40,5,20\n", header: 1, rows: 2, want: []Width{{4, 3, 3}}},
		"a sentence above the rows":     {text: "made in Larch\n0,40,20,9\n1,41,20,9\n", header: 1, rows: 2},
		"separators at the end":         {text: "s,ankle,calf\n0,40,20,\n1,41,20,,\n", header: 1, rows: 2},
		"a column that nobody reads":    {text: "0,40,20,7\n1,41,20,8\n2,41,20\n", rows: 3},
		"blanks":                        {text: "0 40 20\n1  40 5 20\n", space: true, rows: 2, want: []Width{{4, 3, 2}}},
		"the number is known":           {text: "0,40,20\n1,40,5,20\n", fixed: 3, rows: 1},
	} {
		t.Run(name, func(t *testing.T) {
			d := Delimited{
				Separator: ",", HeaderLines: c.header, Columns: c.fixed, Time: TimeColumn{Column: 0, As: InSeconds},
				Channels: []int{1, 2}, Source: SourceColumn{Column: -1},
			}
			if c.space {
				d.Separator = "space"
			}
			rows, err := NewDelimited(d)
			if err != nil {
				t.Fatal(err)
			}
			var got widths
			for b := range strings.SplitAfterSeq(c.text, "") {
				rows.Feed([]byte(b), &got)
			}
			if got.rows != c.rows || !slices.Equal(got.odd, c.want) {
				t.Errorf("%d rows, odd %v; want %d, %v", got.rows, got.odd, c.rows, c.want)
			}
		})
	}
}
