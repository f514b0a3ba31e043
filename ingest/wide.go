package ingest

import (
	"fmt"
	"strings"

	"weald/ingest/frame"
)

// shownWide is how many rows that are too wide are named.
const shownWide = 5

// WideRows counts rows of delimited text that were taken though they are wider
// than the others: perhaps a separator stands within their numbers, and their
// values are others than they look. The zero value has counted none.
type WideRows struct {
	Rows  uint64
	First frame.Width // the first of them
	Lines []int       // of the first few
}

// See counts f, which was accepted, if it is such a row.
func (w *WideRows) See(f *frame.Frame) {
	if f.Wide.Columns == 0 {
		return
	}
	if w.Rows++; w.Rows == 1 {
		w.First = f.Wide
	}
	if len(w.Lines) < shownWide {
		w.Lines = append(w.Lines, f.Wide.Line)
	}
}

// Sentence says so in words, empty where there is none.
func (w *WideRows) Sentence() string {
	if w.Rows == 0 {
		return ""
	}
	what := fmt.Sprintf("%d rows have more columns than the header or the first row", w.Rows)
	if w.Rows == 1 {
		what = "1 row has more columns than the header or the first row"
	}
	where := "in line"
	if w.Rows > uint64(len(w.Lines)) {
		where = "the first in line"
	}
	if len(w.Lines) > 1 {
		where += "s"
	}
	lines := strings.Trim(strings.ReplaceAll(fmt.Sprint(w.Lines), " ", ", "), "[]")
	return fmt.Sprintf("%s (%d instead of %d), %s %s: check separator and decimal, or set columns:", what, w.First.Columns, w.First.Usual, where, lines)
}
