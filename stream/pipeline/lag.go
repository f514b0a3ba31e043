package pipeline

import (
	"time"

	"weald/ingest/sample"
)

// A lag is the least delay between sampling and arrival of a place's scans over
// the last half to whole minute. The least is the honest one: scans can be held
// up on their way, but none arrives before it was sampled.
type lag struct {
	began     sample.Instant
	old, this time.Duration
	any       bool
}

const lagWindow = 30 * time.Second

func (l *lag) add(arrived sample.Instant, d time.Duration) {
	switch since := arrived.Sub(l.began); {
	case !l.any || since > 2*lagWindow || since < 0:
		*l = lag{began: arrived, old: d, this: d, any: true}
	case since > lagWindow:
		l.began, l.old, l.this = arrived, l.this, d
	default:
		l.this = min(l.this, d)
	}
}

func (l *lag) least() time.Duration { return min(l.old, l.this) }
