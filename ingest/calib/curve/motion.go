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
type Motion struct {
	seen      bool
	last      sample.Instant
	smooth    float64
	direction Direction
	low, high float64 // extremes since the last turn; low matters but while loading, high but while unloading
	settled   float64
	since     sample.Instant
}

// Step takes a pressure in mmHg of any one curve (the middle, say: only its
// changes matter) and returns the direction and the age of the load. NaN
// changes nothing. Time must not run backwards.
func (m *Motion) Step(at sample.Instant, p, width float64) (Direction, time.Duration) {
	switch {
	case p != p:
	case !m.seen:
		*m = Motion{seen: true, last: at, smooth: p, low: p, high: p, settled: p, since: at}
	default:
		m.smooth += float64(-math.Expm1(-float64(at.Sub(m.last))/float64(Smoothing)) * (p - m.smooth))
		m.last, p = at, m.smooth
		m.low, m.high = min(m.low, p), max(m.high, p)
		switch {
		case m.direction != Loading && p-m.low > width:
			m.direction, m.high = Loading, p
		case m.direction != Unloading && m.high-p > width:
			m.direction, m.low = Unloading, p
		}
		if p-m.settled > width || m.settled-p > width {
			m.settled, m.since = p, at
		}
	}
	if !m.seen {
		return Still, 0
	}
	return m.direction, at.Sub(m.since)
}
