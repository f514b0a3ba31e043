package pipeline

import (
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
)

// sink is what the engine tells its findings to.
type sink struct{ p *Pipeline }

// Alert implements rules.Sink. What is found is told when the whole input has
// been judged and kept.
func (s sink) Alert(e alert.Event) { s.p.found = append(s.p.found, e) }

// Updated implements rules.Sink.
func (s sink) Updated(place int, at sample.Instant) {
	st := s.p.state
	now := st.clock.Now()
	pl := &st.places[place]
	st.evaluate(place, now)

	u := &st.update
	*u = Update{Place: place, At: at, Now: now, Signals: st.judge.Signals(place)}
	for i := range u.Signals {
		if sig := &u.Signals[i]; !sample.IsUnknown(sig.Value) {
			pl.known[i] = sig.At
		}
	}
	if since := now.Sub(pl.progressed); since >= time.Second || since < 0 {
		pl.progressed = now
		st.holds = st.judge.Progress(place, st.holds[:0])
		u.Holds = st.holds
	}
	if st.plan.Places[place].Mat != nil {
		u.Cells, _ = st.judge.Cells(place, st.loaded[:0])
		st.loaded = u.Cells.Loaded
	}
	for _, f := range s.p.followers {
		f.Updated(u)
	}
}

// Late implements rules.Sink.
func (s sink) Late(place int, _ *sample.Scan) { s.p.state.places[place].late++ }
