package pipeline

import (
	"time"

	"weald/ingest/sample"
)

// patience is how much longer than values last, in host time, a place may go
// without a scan that it can evaluate before its time is said to stand still.
// Scans that are held up for a moment on their way are no reason.
const patience = 2 * time.Second

// within reports whether an instant of the daemon's clock is no longer ago than
// something lasts, and patience.
func (s *State) within(at sample.Instant, lasts time.Duration) bool {
	return s.clock.Now() <= at.Add(lasts+time.Duration(float64(patience)*s.clock.Speed()))
}

// Stalled reports whether no scan of a place has been evaluated, by the daemon's
// clock, for longer than its values last. Its event time then stands still, and
// nothing of it is current, whatever Until its signals have: they may have been
// taken from a scan with a time far in the future, than which all that follow
// are older.
func (s *State) Stalled(i int) bool {
	return !s.within(s.places[i].evaluated, s.places[i].lasts)
}

// Arriving reports whether scans come in for a place, evaluated or not.
func (s *State) Arriving(i int) bool { return s.within(s.places[i].arrived, s.places[i].lasts) }

// Lasts reports whether values of a place that last until an instant of its
// event time are current.
func (s *State) Lasts(i int, until sample.Instant) bool {
	return !s.Stalled(i) && s.PlaceNow(i) <= until
}

// Blank reports whether a source delivers scans and none has had a single value
// for longer than values last.
func (s *State) Blank(source int) bool {
	lasts := s.plan.Sources[source].StaleAfter
	return s.within(s.sources[source].arrived, lasts) && !s.within(s.sources[source].valid, lasts)
}

// evaluate notes that a place was evaluated, if that was for a scan which moves
// its time on. A source that gives all its scans the same time moves nothing.
func (s *State) evaluate(place int, now sample.Instant) {
	pl := &s.places[place]
	if last := s.judge.LastScan(place); last != pl.updated {
		pl.updated, pl.evaluated = last, now
	}
}
