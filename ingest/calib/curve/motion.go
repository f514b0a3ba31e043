package curve

import (
	"math"
	"time"

	"weald/ingest/sample"
)

// A Direction is where a pressure has been going.
type Direction int8

// The directions. The zero value is the one that claims nothing.
const (
	Unloading Direction = -1
	Still     Direction = 0 // not known: no motion beyond the width has been seen
	Loading   Direction = +1
)

// Smoothing is the time constant of the average that a Motion follows.
const Smoothing = time.Second

// Smoothed returns what share of the standard deviation of single readings, so
// many a second, is left in the average that a Motion follows.
func Smoothed(rate float64) float64 {
	a := -math.Expm1(-1 / (rate * Smoothing.Seconds()))
	return math.Sqrt(a / (2 - a))
}

// A Motion follows the pressure of one channel and says in which direction it
// went last, and how old its load is. The zero Motion has seen nothing.
//
// Single readings of a noisy channel would turn it forth and back, so it follows
// their exponential average over Smoothing of time, whatever the rate.
//
// The direction turns when the pressure has come back from its extreme by more
// than the width: so noise below the width never turns it, and a slow change
// does, however slow. The load's age counts from the last time the pressure
// left the band of the width around where it had settled.
//
// Step is all that most need. Who follows many channels at once uses what Step is
// made of: Share once a scan, then Rests, and Move where that says no. They keep
// the Average, which every scan moves, close together, and the Course elsewhere.
type Motion struct {
	Average
	Course
}

// An Average is the part of a Motion that moves while the pressure rests, in mmHg.
// The zero Average rests at 0 for ever.
type Average struct {
	Smooth            float64 // what is followed
	CalmLow, CalmHigh float64 // while it is between them, or one of them, nothing else changes
}

// Unsettled returns an Average of which it is not known what is calm: Move will say.
func Unsettled(smooth float64) Average { return Average{Smooth: smooth, CalmLow: math.Inf(1)} }

// A Course is the part of a Motion that stays as it is while the pressure rests.
type Course struct {
	since     sample.Instant
	low, high float64 // extremes since the last turn; low stands still while loading, high while unloading
	settled   float64
	last      sample.Instant
	seen      bool
	direction Direction
}

// Step takes a pressure in mmHg of any one curve (the middle, say: only its
// changes matter) and returns the direction and the age of the load. NaN
// changes nothing. Time must not run backwards.
func (m *Motion) Step(at sample.Instant, p, width float64) (Direction, time.Duration) {
	if p == p {
		m.Move(&m.Average, at, Share(at.Sub(m.last)), p, width)
	}
	return m.direction, m.Age(at)
}

// Share returns what share of the way to a new reading the average goes after so
// much time.
func Share(passed time.Duration) float64 {
	return -math.Expm1(-float64(passed) / float64(Smoothing))
}

// Rests takes a pressure that changes nothing but the average, and reports whether
// it was one; if not, or for NaN, a is as it was. Nobody notes the time: see Rested.
func (a *Average) Rests(share, p float64) bool {
	s := a.Smooth + float64(share*(p-a.Smooth))
	if s >= a.CalmLow && s <= a.CalmHigh {
		a.Smooth = s
		return true
	}
	return false
}

// Rested notes that the pressure has rested until an instant.
func (c *Course) Rested(at sample.Instant) {
	if c.seen {
		c.last = at
	}
}

// Last returns when the last pressure was that c has been told the time of.
func (c *Course) Last() sample.Instant { return c.last }

// Move takes any pressure but NaN, as Step does, with the Share of the time since
// the last one, for the motion of which a is the average.
func (c *Course) Move(a *Average, at sample.Instant, share, p, width float64) {
	if !c.seen {
		*a, *c = Average{Smooth: p}, Course{seen: true, last: at, low: p, high: p, settled: p, since: at}
	}
	a.Smooth += float64(share * (p - a.Smooth))
	c.last, p = at, a.Smooth
	if c.direction != Loading && p < c.low {
		c.low = p
	}
	if c.direction != Unloading && p > c.high {
		c.high = p
	}
	switch {
	case c.direction != Loading && p-c.low > width:
		c.direction, c.high = Loading, p
	case c.direction != Unloading && c.high-p > width:
		c.direction, c.low = Unloading, p
	}
	if p-c.settled > width || c.settled-p > width {
		c.settled, c.since = p, at
	}
	near := float64(width * (1 - 1e-6)) // surely within the width, however sums are rounded
	a.CalmLow, a.CalmHigh = c.settled-near, c.settled+near
	switch c.direction {
	case Loading:
		a.calm(c.high-near, c.high)
	case Unloading:
		a.calm(c.low, c.low+near)
	case Still:
		a.calm(c.low, c.high)
	}
}

// calm makes what is calm no wider than from low to high.
func (a *Average) calm(low, high float64) {
	if low > a.CalmLow {
		a.CalmLow = low
	}
	if high < a.CalmHigh {
		a.CalmHigh = high
	}
}

// Direction returns where the pressure went last.
func (c *Course) Direction() Direction { return c.direction }

// Since returns when the load began to count, if anything has been seen.
func (c *Course) Since() sample.Instant { return c.since }

// Age returns how old the load is; 0 if nothing has been seen.
func (c *Course) Age(at sample.Instant) time.Duration {
	if !c.seen {
		return 0
	}
	return at.Sub(c.since)
}
