package keeper

import (
	"weald/ingest/sample"
	"weald/rules/hold"
	"weald/stream/selfwatch"
)

// A slowness is whether the disk, which fails no writing, is too slow for what comes:
// then some of it is lost with every writing that takes too long, and one alert stands
// for all of them.
type slowness struct {
	hold  hold.State
	last  sample.Instant // up to when it is known
	since sample.Instant // raised: since when
	lost  loss           // raised: what was lost so far
}

// It is so with the first reading that is lost, and over when none has been for as long
// as other alerts of the daemon's own take to settle.
var slowSpec = hold.Spec{OffDelay: selfwatch.Settles}

// pass takes what was lost since the last time, and says what that changes.
func (s *slowness) pass(now sample.Instant, gone loss) hold.Change {
	span := max(now.Sub(s.last), 0)
	s.last = now
	s.lost.merge(gone)
	change, _ := s.hold.Advance(&slowSpec, span, sample.Of(gone.scans > 0))
	if change == hold.Raised {
		s.since = now
	}
	return change
}
