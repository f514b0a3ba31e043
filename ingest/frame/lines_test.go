package frame

import (
	"slices"
	"strings"
	"testing"
)

// The text formats treat the ends of lines, of messages and of connections
// alike: they differ in what a line says only.
func TestTextFormatsEndLinesAlike(t *testing.T) {
	good := string(mustLine(t, 7))
	rows, err := NewDelimited(Delimited{
		Separator: ",", Time: TimeColumn{Column: -1, Period: 1}, Channels: []int{0, 1}, Source: SourceColumn{Column: -1},
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		d    Decoder
		good string // one line without its ending
		most int
	}{
		{"line", NewLine(), strings.TrimRight(good, "\r\n"), maxLine},
		{"delimited", rows, "1,2", maxRow},
	} {
		long := strings.Repeat("x", c.most+1)
		for _, s := range []struct {
			name string
			feed func(h Handler)
			want []int // lines that were refused
			got  int   // frames
		}{
			{"either ending", func(h Handler) { c.d.Feed([]byte(c.good+"\n"+c.good+"\r\n"), h) }, nil, 2},
			{"no ending before a flush", func(h Handler) { c.d.Feed([]byte(c.good), h); c.d.Flush(h); c.d.Flush(h) }, nil, 1},
			{"what a message does not continue", func(h Handler) { c.d.Feed([]byte("x"), h); c.d.Message([]byte(c.good), h) }, nil, 1},
			{"nor a new connection", func(h Handler) { c.d.Feed([]byte("x"), h); c.d.Reset(); c.d.Feed([]byte(c.good+"\n"), h) }, nil, 1},
			{"a byte too long", func(h Handler) { c.d.Feed([]byte(c.good+"\n"+long+"\r\n"+c.good+"\n"), h) }, []int{2}, 2},
			{"far too long, in pieces", func(h Handler) {
				c.d.Feed([]byte(c.good+"\n"+long), h)
				c.d.Feed([]byte(long+"\n"+c.good+"\n"), h)
			}, []int{2}, 2},
		} {
			c.d.Reset()
			h := new(lineSink)
			s.feed(h)
			if !slices.Equal(h.refused, s.want) || h.frames != s.got {
				t.Errorf("%s, %s: %d frames, lines %v were refused; want %d and %v", c.name, s.name, h.frames, h.refused, s.got, s.want)
			}
		}
	}
}

type lineSink struct {
	frames  int
	refused []int
}

func (s *lineSink) Frame(*Frame) { s.frames++ }
func (s *lineSink) Bad(b *Bad)   { s.refused = append(s.refused, b.Line) }

func mustLine(t *testing.T, readings ...float64) []byte {
	t.Helper()
	b, err := AppendLine(nil, &Frame{Kind: Readings, Readings: readings})
	if err != nil {
		t.Fatal(err)
	}
	return b
}
