package history

import (
	"math"
	"time"

	"weald/ingest/sample"
)

// Of each place the rows of raw values of the last rawSpan are kept, but no more
// than rawRows: 10 s at 100 scans a second, a minute at 10.
const (
	rawRows = 1024
	rawSpan = time.Minute
	fewRows = 16 // that there is room for at first
)

// absent marks a series that a row says nothing about, because another source
// of the place made the row. It is a NaN other than the one for "unknown".
var absent = math.Float32frombits(0x7fc00001)

// IsAbsent reports whether a value of a Batch is no statement at all. A NaN for
// which it is false says that the series was unknown.
func IsAbsent(v float32) bool { return math.Float32bits(v) == math.Float32bits(absent) }

// rows is a ring of what was measured, newest last. It grows until it is as large
// as it has to be.
type rows struct {
	width  int
	next   uint64 // number of the row to come; all rows ever
	lost   uint64 // how many of them went while there was less room
	at     []sample.Instant
	came   []sample.Instant // on the daemon's clock
	values []float32        // width a row
}

// add makes a row and returns its values, to be filled in.
func (r *rows) add(at, now sample.Instant) []float32 {
	if n := len(r.at); n < rawRows && r.next-r.first() == uint64(n) {
		if n == 0 {
			r.grow(fewRows)
		} else if now.Sub(r.came[r.index(r.first())]) <= rawSpan {
			r.grow(2 * n)
		}
	}
	if r.next-r.first() == uint64(len(r.at)) {
		r.lost = r.first() + 1
	}
	i := r.index(r.next)
	r.next++
	r.at[i], r.came[i] = at, now
	return r.row(r.next - 1)
}

// grow makes room for n rows.
func (r *rows) grow(n int) {
	old := *r
	r.at, r.came = make([]sample.Instant, n), make([]sample.Instant, n)
	r.values = make([]float32, n*r.width)
	for k := old.first(); k < old.next; k++ {
		r.at[r.index(k)], r.came[r.index(k)] = old.at[old.index(k)], old.came[old.index(k)]
		copy(r.row(k), old.row(k))
	}
}

// index is where a row lies.
func (r *rows) index(n uint64) int { return int(n % uint64(len(r.at))) }

func (r *rows) row(n uint64) []float32 {
	i := r.index(n)
	return r.values[i*r.width : (i+1)*r.width]
}

// first returns the number of the oldest row.
func (r *rows) first() uint64 { return r.lost }

// A Batch is a copy of consecutive rows of one place.
type Batch struct {
	Next    uint64 // the cursor that continues after it
	Skipped bool   // rows between the cursor and the batch were left out
	Width   int
	At      []sample.Instant
	Values  []float32 // Width a row; see IsAbsent
}

// Value returns what row i says about a series.
func (b *Batch) Value(i, series int) float32 { return b.Values[i*b.Width+series] }

// Head returns the cursor behind the newest row of a place.
func (s *Store) Head(place int) uint64 {
	p := &s.places[place]
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.rows.next
}

// Read fills b with the rows from cursor on that came at notBefore or later on
// the daemon's clock, at most limit of them, the newest ones. The newest row of
// all is among them however old it is.
func (s *Store) Read(place int, cursor uint64, notBefore sample.Instant, limit int, b *Batch) {
	p := &s.places[place]
	p.mu.Lock()
	defer p.mu.Unlock()
	r := &p.rows
	from := max(cursor, r.first(), r.next-min(r.next, uint64(limit)))
	for from+1 < r.next && r.came[r.index(from)] < notBefore {
		from++
	}
	b.Next, b.Width, b.Skipped = r.next, r.width, from > cursor
	b.At, b.Values = b.At[:0], b.Values[:0]
	for ; from < r.next; from++ {
		b.At = append(b.At, r.at[r.index(from)])
		b.Values = append(b.Values, r.row(from)...)
	}
}
