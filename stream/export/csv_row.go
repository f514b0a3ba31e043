package export

import (
	"math"
	"strconv"
	"strings"
	"time"

	"weald/ingest/sample"
	"weald/stream/export/edf"
)

// A csvRow builds one record of RFC 4180: cells with commas between them, in
// quotes where they have to be, and CR LF at the end. It is used again for the
// next one.
type csvRow struct{ b []byte }

func (r *csvRow) begin() { r.b = r.b[:0] }

// end returns the record; it is valid until the next begin.
func (r *csvRow) end() []byte {
	r.b = append(r.b, '\r', '\n')
	return r.b
}

func (r *csvRow) comma() {
	if len(r.b) > 0 {
		r.b = append(r.b, ',')
	}
}

// Words returns free text as a cell of a table. What a spreadsheet would take for a
// formula gets an apostrophe before it: notes come from people, and files go to
// others.
func Words(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r", rune(s[0])) {
		return "'" + s
	}
	return s
}

// text adds a cell of free text.
func (r *csvRow) text(s string) {
	r.comma()
	s = Words(s)
	// An empty cell at the beginning is quoted, so that the comma is not lost.
	if !strings.ContainsAny(s, "\",\r\n") && (s != "" || len(r.b) > 0) {
		r.b = append(r.b, s...)
		return
	}
	r.b = append(r.b, '"')
	for i := range len(s) {
		if s[i] == '"' {
			r.b = append(r.b, '"')
		}
		r.b = append(r.b, s[i])
	}
	r.b = append(r.b, '"')
}

// number adds a cell with the shortest text that gives v back exactly; an empty
// one for NaN.
func (r *csvRow) number(v float64) {
	r.comma()
	switch size := math.Abs(v); {
	case v != v:
	case size != 0 && (size < 1e-6 || size >= 1e15):
		r.b = strconv.AppendFloat(r.b, v, 'e', -1, 64)
	default:
		r.b = strconv.AppendFloat(r.b, v, 'f', -1, 64)
	}
}

// held adds four cells for each signal of a widened track: what is in force at an instant,
// how uncertain it is, and what it is in doubt for.
func (r *csvRow) held(h *held, at sample.Instant) {
	n := len(h.values) / 3
	lasts := h.lasts(at)
	for i, v := range h.values[:n] {
		if !lasts || v != v {
			r.b = append(r.b, ",,,,"...)
			continue
		}
		r.number(v)
		if r.comma(); h.values[n+i] == h.values[n+i] {
			r.b = strconv.AppendFloat(r.b, h.values[n+i], 'g', 3, 64)
		}
		d := h.values[2*n+i]
		for _, why := range [...]Doubt{Extrapolated, Expired} {
			r.comma()
			switch {
			case d != d:
			case Doubt(d)&why != 0:
				r.b = append(r.b, '1')
			default:
				r.b = append(r.b, '0')
			}
		}
	}
}

// instant adds two cells: at in RFC 3339, and the seconds since start.
func (r *csvRow) instant(at, start sample.Instant, zone *time.Location) {
	r.comma()
	r.b = at.Time().In(zone).AppendFormat(r.b, time.RFC3339Nano)
	r.comma()
	r.b = edf.AppendSeconds(r.b, at.Sub(start))
}

// seconds adds a cell with d in seconds.
func (r *csvRow) seconds(d time.Duration) {
	r.comma()
	r.b = edf.AppendSeconds(r.b, d)
}
