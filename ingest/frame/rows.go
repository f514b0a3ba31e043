package frame

import (
	"bytes"
	"errors"
	"fmt"
	"strings"

	"weald/ingest/sample"
)

// Rows decodes the delimited format. Each row becomes a frame with the whole
// scan: Readings has one entry a channel, in the order of Delimited.Channels,
// and Wall is the row's time.
//
// Seq counts the rows of the source, refused ones too as long as it is known
// whose they are, so that a refused row shows as the gap that it is. Millis is
// Wall in whole milliseconds, modulo 2^32, for loggers on a live link whose
// seconds are a device counter.
//
// The words of a refusal count columns of cells from 0, as the description
// does; Bad.Column is the byte in the line, from 1.
//
// A new connection may begin with header lines again, so Reset expects them;
// the counts of rows go on.
type Rows struct {
	lines
	c Delimited

	roles  []int // what each column is: a channel, or one of the roles below
	marks  map[string]bool
	values []float64 // marks that are numbers
	local  localTimes
	scale  int // a time is a number, of which this power of ten is nanoseconds; 0 for other forms
	counts map[uint16]*rowCount
	last   *rowCount // of the source that came last, which is lastOf
	lastOf uint16
	titles int  // columns of the last header line, where they suffice; else 0
	usual  int  // columns of a row; 0 before the first
	blank  bool // an empty line is a row, with its one cell empty

	cells    cells
	f        Frame
	bad      Bad
	readings []float64
}

// The roles of columns that are not channels.
const (
	unread = -1 - iota
	timeRole
	sourceRole
)

// A rowCount is how far the rows of one source have come.
type rowCount struct {
	next uint32         // sequence number of the next row
	at   sample.Instant // its time, where rows have none of their own
}

// byteOrderMark is what some programs put in front of UTF-8.
var byteOrderMark = []byte("\xEF\xBB\xBF")

// NewDelimited returns a decoder for rows as c describes them, or an error
// with every problem that Check finds. It keeps the slices and maps of c.
func NewDelimited(c Delimited) (*Rows, error) {
	var errs []error
	for _, p := range c.Check() {
		errs = append(errs, fmt.Errorf("delimited: %s: %s", p.Field, p.Message))
	}
	if len(errs) > 0 {
		return nil, errors.Join(errs...)
	}
	c.Decimal = c.decimal()
	d := &Rows{
		c:        c,
		lines:    newLines(maxRow, 1024),
		roles:    make([]int, c.reach()),
		marks:    map[string]bool{"": true},
		counts:   map[uint16]*rowCount{},
		readings: make([]float64, len(c.Channels)),
	}
	for i := range d.roles {
		d.roles[i] = unread
	}
	for i, col := range c.Channels {
		d.roles[col] = i
	}
	if c.Time.Column >= 0 {
		d.roles[c.Time.Column] = timeRole
	}
	if c.hasSource() {
		d.roles[c.Source.Column] = sourceRole
	}
	for _, m := range c.Empty {
		d.marks[strings.TrimSpace(m)] = true
	}
	d.values = c.markValues()
	if c.Separator != spaceSeparator {
		d.cells.sep = c.Separator[0]
	}
	switch c.Time.As {
	case InSeconds:
		d.scale = 9
	case InMilliseconds:
		d.scale = 6
	}
	if c.Time.Column >= 0 && c.Time.As == InLayout {
		d.local = newLocalTimes(&c.Time)
	}
	// With a single column and no time, an empty line is a missing reading;
	// skipping it would move all later ones.
	d.blank = len(d.roles) == 1 && c.Time.Column < 0 && d.cells.sep != 0
	d.decode, d.overlong = d.whole, d.tooLong
	return d, nil
}

func (d *Rows) whole(b []byte, h Handler) {
	if d.line == 1 {
		b = bytes.TrimPrefix(b, byteOrderMark)
	}
	if d.line == d.c.HeaderLines {
		d.header(b)
	}
	if d.line > d.c.HeaderLines && (d.blank || !d.isBlank(b)) {
		d.row(b, h)
	}
}

// isBlank reports whether b has blanks only, none of them a separator.
func (d *Rows) isBlank(b []byte) bool {
	for _, v := range b {
		if !isBlank(v) || v == d.cells.sep {
			return false
		}
	}
	return true
}

func (d *Rows) tooLong(h Handler) {
	if d.line <= d.c.HeaderLines {
		return
	}
	if !d.c.hasSource() {
		d.count(0)
	}
	d.bad = Bad{Reason: BadLength, Detail: "longer than 1 MiB", Line: d.line}
	h.Bad(&d.bad)
}

// count takes the next row of a source.
func (d *Rows) count(source uint16) rowCount {
	n := d.last
	if n == nil || d.lastOf != source {
		if n = d.counts[source]; n == nil {
			n = &rowCount{at: d.c.Time.Start}
			d.counts[source] = n
		}
		d.last, d.lastOf = n, source
	}
	now := *n
	n.next++
	n.at = n.at.Add(d.c.Time.Period)
	return now
}
