package emulate

import (
	"fmt"
	"io"
	"math"
	"time"

	"weald/ingest/frame"
	"weald/ingest/sample"
)

// A Recording is a text file of rows, played as a Stream: each row is a scan of
// its source, as long after the first as its time says. Rows that cannot be
// read are left out; Refused counts them, and Complaint says what was wrong.
type Recording struct {
	in      io.Reader
	decoder *frame.Rows
	scale   float64
	top     float64
	buf     []byte

	queue   []Scan // decoded and not yet given
	next    int    // the first of them
	begun   bool
	first   sample.Instant
	last    time.Duration
	ended   bool
	refused int
	wrong   string // with the row that was refused last
}

// NewRecording plays in, whose columns are as d says. Readings are multiplied by
// scale, rounded to whole counts and kept within 0 to top.
func NewRecording(in io.Reader, d frame.Delimited, scale, top float64) (*Recording, error) {
	decoder, err := frame.NewDelimited(d)
	if err != nil {
		return nil, fmt.Errorf("recording: %w", err)
	}
	return &Recording{in: in, decoder: decoder, scale: scale, top: top, buf: make([]byte, 64<<10)}, nil
}

// MatRows1Hz describes a recording of a mat without times: one scan a row, one
// row a second, columns parted by tabs.
func MatRows1Hz(cells int) frame.Delimited {
	d := frame.Delimited{
		Separator: "\t", Source: frame.SourceColumn{Column: -1},
		Time: frame.TimeColumn{Column: -1, Period: time.Second},
	}
	for i := range cells {
		d.Channels = append(d.Channels, i)
	}
	return d
}

// Refused is how many rows could not be read so far.
func (r *Recording) Refused() int { return r.refused }

// Complaint says in words which rows could not be read so far; "" for none. The second
// result is whether any could.
func (r *Recording) Complaint() (text string, any bool) {
	switch {
	case r.refused > 0 && !r.begun:
		text = fmt.Sprintf("none of its %d rows can be read; the last one: %s", r.refused, r.wrong)
	case r.refused > 0:
		text = fmt.Sprintf("%d rows cannot be read and were left out; the last one: %s", r.refused, r.wrong)
	case !r.begun:
		text = "it has no rows"
	}
	return text, r.begun
}

// Next implements Stream.
func (r *Recording) Next(s *Scan) error {
	for r.next == len(r.queue) {
		if r.ended {
			return io.EOF
		}
		r.queue, r.next = r.queue[:0], 0
		n, err := r.in.Read(r.buf)
		r.decoder.Feed(r.buf[:n], r)
		switch {
		case err == io.EOF:
			r.decoder.Flush(r)
			r.ended = true
		case err != nil:
			return fmt.Errorf("recording: %w", err)
		}
	}
	*s = r.queue[r.next]
	r.next++
	return nil
}

// Frame implements frame.Handler.
func (r *Recording) Frame(f *frame.Frame) {
	if !r.begun {
		r.begun, r.first = true, f.Wall
	}
	r.last = max(r.last, f.Wall.Sub(r.first)) // a Stream's time never runs back
	var values []float64
	if n := len(r.queue); n < cap(r.queue) {
		values = r.queue[:n+1][n].Values[:0] // of a scan that was given long ago
	}
	for _, v := range f.Readings {
		if !math.IsNaN(v) {
			v = min(max(math.Round(v*r.scale), 0), r.top)
		}
		values = append(values, v)
	}
	r.queue = append(r.queue, Scan{Source: f.Source, At: r.last, Values: values})
}

// Bad implements frame.Handler.
func (r *Recording) Bad(b *frame.Bad) {
	r.refused++
	r.wrong = b.Error()
}
