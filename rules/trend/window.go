package trend

import (
	"math"
	"slices"
	"time"

	"weald/ingest/sample"
)

// A Window remembers the readings of the last while as the means of equal
// slots of time, so that what it keeps and what it costs do not depend on how
// often readings come. Slots lie on multiples of their length since 1970, which
// makes the result the same wherever one begins to look.
type Window struct {
	slot  time.Duration
	slots []slot // a ring by slot number
	last  int64  // the slot number of the newest reading
	any   bool

	xs, ys, slopes []float64 // buffers
}

// A slot is what the readings of one slot add up to.
type slot struct {
	n          int
	sum, times float64 // of values, and of seconds since the slot began
}

// NewWindow returns an empty window over span, of n slots; both are above zero.
func NewWindow(span time.Duration, n int) *Window {
	return &Window{
		slot: max(1, span/time.Duration(n)), slots: make([]slot, n),
		xs: make([]float64, 0, n), ys: make([]float64, 0, n), slopes: make([]float64, 0, n*(n-1)/2),
	}
}

// Add takes a reading; NaN is none. It returns whether it begins a new slot, in
// which case what Median and Slope say has to be asked anew. Readings come in
// the order of time.
func (w *Window) Add(at sample.Instant, v float64) (turned bool) {
	number := floor(int64(at), int64(w.slot))
	turned = !w.any || number != w.last
	w.moveTo(number)
	if v == v {
		s := &w.slots[w.place(number)]
		s.n++
		s.sum += v
		s.times += time.Duration(int64(at) - number*int64(w.slot)).Seconds()
	}
	return turned
}

// moveTo empties the slots that time has passed over.
func (w *Window) moveTo(number int64) {
	n := int64(len(w.slots))
	switch {
	case !w.any:
		w.any, w.last = true, number
	case number-w.last >= n || number < w.last:
		clear(w.slots)
	default:
		for w.last < number {
			w.last++
			w.slots[w.place(w.last)] = slot{}
		}
	}
	w.last = number
}

// Clear forgets everything.
func (w *Window) Clear() {
	clear(w.slots)
	w.any = false
}

// collect fills xs with the seconds of the means, counted from the newest slot,
// and ys with the means, oldest first.
func (w *Window) collect() {
	w.xs, w.ys = w.xs[:0], w.ys[:0]
	for back := len(w.slots) - 1; back >= 0; back-- {
		s := &w.slots[w.place(w.last-int64(back))]
		if s.n == 0 {
			continue
		}
		w.xs = append(w.xs, s.times/float64(s.n)-(time.Duration(back)*w.slot).Seconds())
		w.ys = append(w.ys, s.sum/float64(s.n))
	}
}

// Known returns in how many of the slots there are readings.
func (w *Window) Known() (known, slots int) {
	for i := range w.slots {
		if w.slots[i].n > 0 {
			known++
		}
	}
	return known, len(w.slots)
}

// Median returns the median of the slots' means; NaN unless at least least of
// them have readings.
func (w *Window) Median(least int) float64 {
	w.collect()
	if len(w.ys) < max(1, least) {
		return math.NaN()
	}
	return Median(w.ys)
}

// Slope returns the trend of the readings in units per second: the median of
// the slopes between all pairs of slots (Theil 1950, Sen 1968), which one
// reading in four may be wrong without moving far. It is NaN unless at least
// half of the slots have readings.
func (w *Window) Slope() float64 {
	w.collect()
	if 2*len(w.xs) < len(w.slots) || len(w.xs) < 2 {
		return math.NaN()
	}
	w.slopes = theilSen(w.slopes[:0], w.xs, w.ys)
	return Median(w.slopes)
}

// theilSen appends the slopes between all pairs of points with different x.
func theilSen(dst, xs, ys []float64) []float64 {
	for i := range xs {
		for k := range i {
			if xs[i] != xs[k] {
				dst = append(dst, (ys[i]-ys[k])/(xs[i]-xs[k]))
			}
		}
	}
	return dst
}

func (w *Window) place(number int64) int {
	n := int64(len(w.slots))
	return int(number - floor(number, n)*n)
}

// floor divides and rounds down.
func floor(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}

// Within reports whether the slots' means lie no farther apart than by.
func (w *Window) Within(by float64) bool {
	w.collect()
	return len(w.ys) > 0 && slices.Max(w.ys)-slices.Min(w.ys) <= by
}
