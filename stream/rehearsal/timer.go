package rehearsal

import (
	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/lag"
)

// A timer stands for the clock of a live run: it shows every place the instants
// at which something is due, when a live run would have, between one arrival and
// the next. A reading that arrived after that was late for it, and is so in a
// rehearsal too.
type timer struct {
	engine   *rules.Engine
	lags     []lag.Lag // by place
	bySource [][]int   // places by source
}

func newTimer(plan *rules.Plan, engine *rules.Engine) *timer {
	t := &timer{engine: engine, lags: make([]lag.Lag, len(plan.Places)), bySource: make([][]int, len(plan.Sources))}
	for i := range plan.Places {
		for source := range plan.Sources {
			if plan.Places[i].Uses(source) {
				t.bySource[source] = append(t.bySource[source], i)
			}
		}
	}
	return t
}

// heard notes with what delay the places of a source hear from it. Scans that a
// bridge kept for later say nothing about that.
func (t *timer) heard(s *sample.Scan) {
	if s.Stored {
		return
	}
	for _, i := range t.bySource[s.Source] {
		t.lags[i].Add(s.Arrived, s.Arrived.Sub(s.At))
	}
}

// until shows what is due before an instant of the host's clock, the earliest
// first.
func (t *timer) until(now sample.Instant) {
	if t.engine.Next() == sample.Never {
		return
	}
	for {
		first, at := -1, now
		for i := range t.lags {
			if due := t.engine.NextPlace(i).Add(t.lags[i].Least()); due < at {
				first, at = i, due
			}
		}
		if first < 0 {
			return
		}
		t.engine.TickPlace(first, t.engine.NextPlace(first))
	}
}
