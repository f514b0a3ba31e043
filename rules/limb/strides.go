package limb

import (
	"math"
	"slices"
	"time"

	"weald/ingest/sample"
	"weald/rules/state"
	"weald/rules/trend"
)

const (
	// stridesKept is how many strides the medians are taken of.
	stridesKept = 8
	// stridesLeast is how many make a walk.
	stridesLeast = 3
	// A stride of one leg is half the cadence: 0.68 to 1.15 a second in
	// laboratories (81 to 138 steps a minute: Sports Med review 10.2165/11599170),
	// with room for the frail. Slower is no walk.
	longest, shortest = 2500 * time.Millisecond, 550 * time.Millisecond
	// fastest is the highest stride frequency of those, per second.
	fastest = 1.15
	// uneven is how many times the shortest of the last strides the longest may
	// last.
	uneven = 1.8
	// A turn back of this share of the last swings is a turning point.
	backlash = 0.4
	// PerStride is how many scans a stride must have for its amplitude to be
	// told: a peak is then missed by 5 % of the swing at most.
	PerStride = 10
	// perStrideToTell is how many it must have to be told from other movement.
	perStrideToTell = 4
)

// Strides finds the strides in the pressure of one site. It looks for turning
// points and adapts to the size of the swing, so any unit will do.
type Strides struct {
	least float64 // no swing is smaller

	up      bool
	any     bool
	extreme point // the highest since the last trough, or the lowest since the last peak
	trough  float64
	peaked  bool
	peak    point // the last that was confirmed
	read    int   // readings since it
	since   int   // readings since the extreme

	strides [stridesKept]stride
	n       int // how many of them there are
	next    int
	last    sample.Instant
	gap     float64 // s between readings, smoothed

	a, b [stridesKept]float64
}

type point struct {
	at sample.Instant
	v  float64
}

// A stride is from one peak to the next.
type stride struct {
	period    float64 // s
	high, low float64
	readings  int
}

// NewStrides returns an empty finder for swings of at least least.
func NewStrides(least float64) *Strides { return &Strides{least: least} }

// Add takes a reading; NaN is none.
func (s *Strides) Add(at sample.Instant, v float64) {
	switch {
	case v != v:
		return
	case !s.any || at.Sub(s.extreme.at) > longest:
		// Nothing turned for longer than a stride, or nothing was read: it is
		// no walk, and a new one is looked for from here.
		*s = Strides{least: s.least, any: true, up: true, extreme: point{at, v}, trough: v, gap: s.gap}
	}
	if s.read > 0 {
		if dt := at.Sub(s.last).Seconds(); s.gap == 0 {
			s.gap = dt
		} else {
			s.gap = trend.EWMA(s.gap, 0.1, dt)
		}
	}
	s.last = at
	s.read++
	s.since++
	switch {
	case s.up && v > s.extreme.v, !s.up && v < s.extreme.v:
		s.extreme, s.since = point{at, v}, 0
	case s.up && v < s.extreme.v-s.threshold():
		s.confirm()
		s.up, s.extreme, s.since = false, point{at, v}, 0
	case !s.up && v > s.extreme.v+s.threshold():
		s.trough = s.extreme.v
		s.up, s.extreme, s.since = true, point{at, v}, 0
	}
}

// pace is how many readings come a second, 0 before the second.
func (s *Strides) pace() float64 {
	if s.gap > 0 {
		return 1 / s.gap
	}
	return 0
}

// threshold is by how much the pressure turns back at a turning point.
func (s *Strides) threshold() float64 {
	most := 0.0
	for i := range s.n {
		most = max(most, s.strides[i].high-s.strides[i].low)
	}
	return max(s.least, backlash*most)
}

// confirm takes the extreme as a peak, which ends a stride.
func (s *Strides) confirm() {
	readings := s.read - s.since
	if s.peaked {
		s.strides[s.next] = stride{s.extreme.at.Sub(s.peak.at).Seconds(), s.extreme.v, s.trough, readings}
		s.next = (s.next + 1) % stridesKept
		s.n = min(s.n+1, stridesKept)
	}
	s.peaked, s.peak, s.read = true, s.extreme, s.since
}

// A Walk is what the last strides tell. Nothing of it is known without a walk.
type Walk struct {
	Strides int     // that it is made of
	Hertz   float64 // strides a second
	Rate    float64 // scans a second
	Swing   float64 // in the unit of the readings; NaN where the rate cannot carry it
}

// Resolved reports whether the scan rate carries the swing.
func (w *Walk) Resolved() bool { return w.Rate >= PerStride*w.Hertz-exact }

// Told reports whether the scan rate is enough to tell strides from other
// movement.
func (w *Walk) Told() bool { return w.Rate >= perStrideToTell*w.Hertz }

// Walk returns what the last strides tell at an instant; false if they are no
// walk or are over.
func (s *Strides) Walk(at sample.Instant) (Walk, bool) {
	if s.n < stridesLeast {
		return Walk{}, false
	}
	n, readings, total := 0, 0, 0.0
	least, most := math.Inf(1), 0.0
	for back := 1; back <= s.n; back++ {
		t := &s.strides[(s.next-back+2*stridesKept)%stridesKept]
		lo, hi := min(least, t.period), max(most, t.period)
		if lo < shortest.Seconds() || hi > longest.Seconds() || hi > uneven*lo {
			break
		}
		least, most = lo, hi
		s.a[n] = t.period
		n++
		readings += t.readings
		total += t.period
	}
	if n < stridesLeast {
		return Walk{}, false
	}
	period := middle(s.a[:n])
	if at.Sub(s.peak.at).Seconds() > 1.8*period {
		return Walk{}, false
	}
	for i := range n {
		t := &s.strides[(s.next-1-i+2*stridesKept)%stridesKept]
		s.a[i], s.b[i] = t.high, t.low
	}
	w := Walk{Strides: n, Hertz: 1 / period, Rate: float64(readings) / total, Swing: math.NaN()}
	if w.Resolved() {
		w.Swing = Amplitude(s.a[:n], s.b[:n])
	}
	return w, true
}

// middle is the mean of the middle half of periods: one long stride, of a turn,
// does not count, and strides that are whole numbers of scans do not make the
// result one.
func middle(periods []float64) float64 {
	slices.Sort(periods)
	quarter := len(periods) / 4
	sum, n := 0.0, 0
	for _, p := range periods[quarter : len(periods)-quarter] {
		sum += p
		n++
	}
	return sum / float64(n)
}

// Amplitude is the walking pressure amplitude of the highest and the lowest
// pressures of strides, which it sorts.
func Amplitude(high, low []float64) float64 { return trend.Median(high) - trend.Median(low) }

// Code implements state.Coder.
func (s *Strides) Code(c *state.Codec) {
	c.Bool(&s.up)
	c.Bool(&s.any)
	c.Bool(&s.peaked)
	for _, p := range []*point{&s.extreme, &s.peak} {
		c.Instant(&p.at)
		c.Float(&p.v)
	}
	c.Float(&s.trough)
	c.Int(&s.read, 0, math.MaxInt32)
	c.Int(&s.since, 0, math.MaxInt32)
	for i := range s.strides {
		t := &s.strides[i]
		c.Float(&t.period)
		c.Float(&t.high)
		c.Float(&t.low)
		c.Int(&t.readings, 0, math.MaxInt32)
	}
	c.Int(&s.n, 0, stridesKept)
	c.Int(&s.next, 0, stridesKept-1)
	c.Instant(&s.last)
	c.Float(&s.gap)
}
