// Package lag measures with what delay a place hears from its sources. Its
// present, in event time, is the present of the host less that delay.
package lag

import (
	"time"

	"weald/ingest/sample"
)

// A Lag is the least delay between sampling and arrival of a place's scans over
// the last half to whole minute. The least is the honest one: scans can be held
// up on their way, but none arrives before it was sampled.
type Lag struct {
	began     sample.Instant
	old, this time.Duration
	any       bool
}

const window = 30 * time.Second

// Add notes that a scan that arrived at the given instant had been on its way
// for d.
func (l *Lag) Add(arrived sample.Instant, d time.Duration) {
	switch since := arrived.Sub(l.began); {
	case !l.any || since > 2*window || since < 0:
		*l = Lag{began: arrived, old: d, this: d, any: true}
	case since > window:
		l.began, l.old, l.this = arrived, l.this, d
	default:
		l.this = min(l.this, d)
	}
}

// Least returns the delay, 0 before the first scan.
func (l *Lag) Least() time.Duration { return min(l.old, l.this) }
