package limb

import (
	"math"
	"time"

	"weald/ingest/sample"
	"weald/rules/state"
	"weald/rules/trend"
)

const (
	// stillFor is how long a site must not have moved to be still.
	stillFor   = 3 * time.Second
	rangeSlots = 6
	// A site is still while it moves by no more than the larger of these; thin
	// force sensors are noisy by some tenths of a mmHg, breathing and pulse
	// move a wrap by one or two.
	stillMMHg, stillShare = 2.0, 0.06
	// leastSwing is the smallest swing that can be a stride: stockings give
	// 3.7 to 6.8 mmHg (Phlebology 2026, 10.1177/02683555261424072).
	leastSwing = 2.0

	restingSlots  = 10 // of a second
	restingLeast  = 4
	settlingSpan  = 30 * time.Minute
	settlingSlots = 30
)

// A site follows one site.
type site struct {
	strides  *Strides
	moves    extremes
	resting  *trend.Window // of the present rest
	settling *trend.Window // of resting levels

	level   float64 // the resting level; NaN while it moves
	rested  float64 // the last one; NaN before the first
	lying   float64 // the level of a rest in which the limb lay; NaN while there was none
	rise    float64 // how far it stepped up when the limb stood up; NaN
	settles float64 // mmHg/s
}

func newSite() *site {
	nan := math.NaN()
	return &site{
		strides: NewStrides(leastSwing),
		resting: trend.NewWindow(restingSlots*time.Second, restingSlots), settling: trend.NewWindow(settlingSpan, settlingSlots),
		level: nan, rested: nan, lying: nan, rise: nan, settles: nan,
	}
}

// moving reports whether the site has moved within the last while.
func (s *site) moving(v float64) sample.Truth {
	low, high, whole := s.moves.span()
	switch {
	case v != v:
		return sample.Maybe
	case high-low > max(stillMMHg, stillShare*math.Abs(v)):
		return sample.Yes
	case !whole:
		return sample.Maybe
	}
	return sample.No
}

// An extremes is the lowest and highest reading of the last stillFor, by slots.
type extremes struct {
	slots [rangeSlots]struct {
		number    int64
		low, high float64
	}
	first, last int64 // slot numbers of an unbroken row of readings
	any         bool
}

// add takes a reading; a hole of a slot or more begins anew.
func (e *extremes) add(at sample.Instant, v float64, lasts time.Duration) {
	const slot = int64(stillFor / rangeSlots)
	n := int64(at) / slot
	if int64(at)%slot < 0 {
		n--
	}
	if v != v {
		return
	}
	if !e.any || n-e.last > 1+int64(lasts)/slot || n < e.last {
		*e = extremes{first: n, any: true}
		for i := range e.slots {
			e.slots[i].number = math.MinInt64
		}
	}
	s := &e.slots[((n%rangeSlots)+rangeSlots)%rangeSlots]
	if s.number != n {
		s.number, s.low, s.high = n, v, v
	}
	s.low, s.high = min(s.low, v), max(s.high, v)
	e.last = n
}

// span returns the lowest and highest reading, and whether they are of the
// whole while.
func (e *extremes) span() (low, high float64, whole bool) {
	low, high = math.Inf(1), math.Inf(-1)
	for i := range e.slots {
		if s := &e.slots[i]; e.any && s.number > e.last-rangeSlots {
			low, high = min(low, s.low), max(high, s.high)
		}
	}
	return low, high, e.any && e.last-e.first >= rangeSlots-1
}

// Code implements state.Coder.
func (s *site) Code(c *state.Codec) {
	s.strides.Code(c)
	for i := range s.moves.slots {
		m := &s.moves.slots[i]
		c.Int64(&m.number)
		c.Float(&m.low)
		c.Float(&m.high)
	}
	c.Int64(&s.moves.first)
	c.Int64(&s.moves.last)
	c.Bool(&s.moves.any)
	s.resting.Code(c)
	s.settling.Code(c)
	for _, v := range []*float64{&s.level, &s.rested, &s.rise, &s.settles} {
		c.Float(v)
	}
}
