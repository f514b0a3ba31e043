package ingest

import (
	"time"

	"weald/ingest/sample"
)

// How often channels and batteries are looked at, on the daemon's clock: what
// is the matter with them changes in minutes.
const (
	examineEvery = time.Second
	askLinkEvery = time.Minute // for the battery's level, for the trend of it
)

// An examination says when the sources were last asked for their condition.
type examination struct {
	every time.Duration
	begun bool
	at    sample.Instant
	state LinkState
}

// due reports whether it is time again, and notes that it was done.
func (e *examination) due(now sample.Instant, state LinkState) bool {
	if since := now.Sub(e.at); e.begun && state == e.state && 0 <= since && since < e.every {
		return false
	}
	e.begun, e.at, e.state = true, now, state
	return true
}

// examine asks the sources for their condition if it is time for that.
func (in *intake) examine(now sample.Instant, state LinkState) {
	if !in.exam.due(now, state) {
		return
	}
	if in.timing == asRecorded {
		now = in.arrival // which is what the statuses go by
	}
	for _, s := range in.sources {
		s.examine(now)
	}
}

// examine makes a new condition. The one before may have been handed out, so
// none of its parts are used again.
func (s *source) examine(now sample.Instant) {
	s.relay()
	c := Condition{Battery: s.trend.Estimate(max(now, s.healthAt)), Layout: s.number}
	s.screen.monitor.Report(&c.Channels)
	if len(s.spec.Groups) > 0 {
		c.Mute = make([]int, len(s.spec.Groups))
		if r := &c.Channels; r.Silent+r.Dead+r.Stuck > 0 {
			s.screen.mute(s.spec.Groups, c.Mute)
		}
	}
	s.condition = c
}
