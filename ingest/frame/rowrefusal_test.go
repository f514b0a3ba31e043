package frame

import (
	"strings"
	"testing"
	"time"

	"weald/ingest/sample"
)

func TestRowsRefusals(t *testing.T) {
	for _, c := range []struct {
		name, row string
		want      Reason
		column    int
	}{
		{"word", "1,1,x,3,4", BadNumber, 5},
		{"nan", "1,1,nan,3,4", BadNumber, 5},
		{"infinity", "1,1,2,inf,4", BadNumber, 7},
		{"hexadecimal", "1,0x10,2,3,4", BadNumber, 3},
		{"blank before the word", "1,1,  x,3,4", BadNumber, 7},
		{"two words, the first is named", "1,1,x,y,4", BadNumber, 5},
		{"a mark of another case", "1,na,2,3,4", BadNumber, 3},
		{"too large", "1,1e400,2,3,4", BadRange, 3},
		{"no time", ",1,2,3,4", BadTime, 1},
		{"a word for a time", "time,1,2,3,4", BadTime, 1},
		{"far future", "1e10,1,2,3,4", BadTime, 1},
		{"a column short", "1,1,2,3", BadFields, 8},
		{"a column short and a word", "1,1,x,3", BadFields, 8},
		{"another separator", "1;1;2;3;4", BadFields, 10},
		{"open quote", "1,1,\"2,3,4", BadFields, 5},
		{"text behind a quote", "1,1,\"2\"0,3,4", BadFields, 5},
		{"quote inside", "1,1,2\"0,3,4", BadNumber, 5},
	} {
		t.Run(c.name, func(t *testing.T) {
			good := "2,1,2,3,4\n"
			r := decode(newRows(t, legLogger()), []byte(good+c.row+"\n"+good))
			if len(r.frames) != 2 || len(r.bads) != 1 || r.bads[0].Reason != c.want {
				t.Fatalf("got %v %+v, want one %q between two frames", r.order, r.bads, c.want)
			}
			if b := r.bads[0]; b.Line != 2 || b.Column != c.column || b.Detail == "" {
				t.Errorf("refused at %d:%d %q, want 2:%d and words", b.Line, b.Column, b.Detail, c.column)
			}
			if r.frames[1].Seq != 2 {
				t.Errorf("the row below has number %d, want 2: the refused row is a gap", r.frames[1].Seq)
			}
		})
	}
}

func TestRowsColumns(t *testing.T) {
	c := legLogger()
	c.Columns = 6
	for row, want := range map[string]string{
		"1,1,2,3,4,5":            "frame",
		"1,1,2,3,4,5,":           "frame",
		"1,1,2,3,4,5, ,,":        "frame",
		"1,1,2,3,4":              "fields",
		"1,1,2,3,4,5,6":          "fields",
		"1,1,2,3,4,52,1,2,3,4,5": "fields", // two rows that lost the line ending between them
		"1,x,2,3,4,52,1,2,3,4,5": "fields",
	} {
		if got := strings.Join(decode(newRows(t, c), []byte(row)).order, " "); got != want {
			t.Errorf("%s: got %s, want %s", row, got, want)
		}
	}
}

func TestRowsLimits(t *testing.T) {
	good := "1,1,2,3,4\n"
	c := legLogger()
	c.HeaderLines = 1
	long := strings.Repeat("x", maxRow+2)
	r := decode(newRows(t, c), []byte(long+"\n"+good+long+long+"\n"+good))
	if want := "frame length frame"; strings.Join(r.order, " ") != want {
		t.Fatalf("got %v, want %s; a long header line is only a header line", r.order, want)
	}
	if r.bads[0].Line != 3 || r.frames[1].Seq != 2 {
		t.Errorf("line %d refused and number %d after it, want 3 and 2", r.bads[0].Line, r.frames[1].Seq)
	}
	decode(newRows(t, legLogger()), []byte(strings.Repeat("x", maxRow+1)+"\n")).wantBad(t, BadLength)
	wide := "1" + strings.Repeat(" ", maxRow-len("1,1,2,3,4")) + good[1:]
	decode(newRows(t, legLogger()), []byte(wide)).only(t)
}

func TestRowsReset(t *testing.T) {
	c := legLogger()
	c.HeaderLines = 1
	d, r := newRows(t, c), &record{}
	d.Feed([]byte("head\n1,1,2,3,4\n2,1,2"), r)
	d.Reset()
	d.Feed([]byte("head\n3,1,2,3,4\nbad\n"), r)
	if want := "frame frame fields"; strings.Join(r.order, " ") != want {
		t.Fatalf("got %v, want %s", r.order, want)
	}
	if r.frames[1].Seq != 1 || r.bads[0].Line != 3 {
		t.Errorf("number %d and line %d, want rows to go on at 1 and lines to start again", r.frames[1].Seq, r.bads[0].Line)
	}
}

func TestRowsTimesThatRunOut(t *testing.T) {
	c := Delimited{Separator: ",", Time: TimeColumn{Column: -1, Period: time.Hour, Start: sample.Never - 1}, Channels: []int{0}}
	if got := strings.Join(decode(newRows(t, c), []byte("1\n2\n3\n")).order, " "); got != "frame time time" {
		t.Errorf("got %s, want one frame", got)
	}
}
