package frame

import (
	"fmt"
	"math"
	"time"

	"weald/ingest/sample"
)

// row reads one row and hands on a frame, or why there is none.
func (d *Rows) row(b []byte, h Handler) {
	d.f = Frame{Kind: Readings, Wall: sample.Never, Readings: d.readings}
	d.bad = Bad{}
	known := d.read(b)
	if known {
		n := d.count(d.f.Source)
		d.f.Seq = n.next
		if d.c.Time.Column < 0 {
			d.f.Wall = n.at
		}
	}
	if d.bad.Reason == "" && d.f.Wall == sample.Never {
		d.refuse(BadTime, 0, "the count of rows has left the range of times")
	}
	if d.bad.Reason != "" {
		d.bad.Line = d.line
		h.Bad(&d.bad)
		return
	}
	d.measure()
	ms := int64(d.f.Wall) / int64(time.Millisecond)
	if int64(d.f.Wall)%int64(time.Millisecond) < 0 {
		ms--
	}
	d.f.Millis = uint32(ms)
	h.Frame(&d.f)
}

// read fills d.f from the cells of b and reports whether the row's source is
// known. The first thing that is wrong goes into d.bad, but a row with the
// wrong number of columns is called that whatever its cells say.
func (d *Rows) read(b []byte) (known bool) {
	known = !d.c.hasSource()
	d.cells.start(b)
	want := max(len(d.roles), d.c.Columns)
	col := 0
	for ; ; col++ {
		if col == len(d.roles) && d.c.Columns == 0 {
			return known
		}
		if col < len(d.roles) && d.short(col) {
			continue
		}
		text, more, ok := d.cells.cell()
		switch {
		case !ok:
			d.bad = Bad{}
			d.refuse(BadFields, d.cells.at, "column %d: a quote without its other half", col)
			return known
		case !more && col < want:
			d.bad = Bad{}
			d.refuse(BadFields, len(b), "%d columns, not %d", col, want)
			return known
		case !more:
			return known
		case col >= want && len(text) > 0:
			d.bad = Bad{}
			d.refuse(BadFields, d.cells.at, "more than %d columns", want)
			return known
		case col < len(d.roles):
			known = d.cell(col, text) || known
		}
	}
}

// short reads the next cell in one pass if it is a short number, as most are, and means
// what it says; false leaves it to who looks at all that a cell may be.
func (d *Rows) short(col int) bool {
	role := d.roles[col]
	switch {
	case role >= 0 && len(d.values) == 0:
		n, behind, neg, ok := d.cells.short(d.c.Decimal)
		if ok {
			d.readings[role] = shortFloat(n, behind, neg)
		}
		return ok
	case role == timeRole && d.scale > 0:
		was := d.cells.next
		n, behind, neg, ok := d.cells.short(d.c.Decimal)
		if !ok {
			return false
		}
		at, ok := shortNanos(n, behind, neg, d.scale)
		if !ok {
			d.cells.next = was
			return false
		}
		d.f.Wall = sample.Instant(at)
		return true
	}
	return false
}

// cell reads one cell and reports whether it has told the row's source.
func (d *Rows) cell(col int, text []byte) (told bool) {
	switch role := d.roles[col]; role {
	case unread:
	case timeRole:
		at, why := d.time(text)
		if why != "" {
			d.refuse(BadTime, d.cells.at, "column %d: %.40q is %s", col, text, why)
		}
		d.f.Wall = at
	case sourceRole:
		source, ok := d.c.Source.Is[string(text)]
		if !ok {
			d.refuse(BadSource, d.cells.at, "column %d: %.40q names no source", col, text)
		}
		d.f.Source = source
		return ok
	default:
		v, bad := parseFloat(text, d.c.Decimal)
		switch {
		case bad == "":
			for _, m := range d.values {
				if v == m {
					v = math.NaN()
				}
			}
		case d.marks[string(text)]:
			v = math.NaN()
		case bad == BadRange:
			d.refuse(bad, d.cells.at, "column %d: %.40q is larger than any number", col, text)
		default:
			d.refuse(bad, d.cells.at, "column %d: %.40q is not a number", col, text)
		}
		d.readings[role] = v
	}
	return false
}

// time reads the time of a row, or says what is wrong with it.
func (d *Rows) time(text []byte) (sample.Instant, string) {
	switch d.c.Time.As {
	case InSeconds:
		ns, ok := parseNanos(text, d.c.Decimal, 9)
		return sample.Instant(ns), unless(ok, "not a time in seconds")
	case InMilliseconds:
		ns, ok := parseNanos(text, d.c.Decimal, 6)
		return sample.Instant(ns), unless(ok, "not a time in milliseconds")
	case InRFC3339:
		at, ok := parseRFC3339(text)
		return at, unless(ok, "not a time with offset as in RFC 3339")
	}
	return d.local.parse(string(text))
}

func unless(ok bool, why string) string {
	if ok {
		return ""
	}
	return why
}

// refuse notes what is wrong, unless something was before. at is the byte in
// the row.
func (d *Rows) refuse(r Reason, at int, format string, args ...any) {
	if d.bad.Reason == "" {
		d.bad = Bad{Reason: r, Detail: fmt.Sprintf(format, args...), Column: at + 1}
	}
}
