package rules

import (
	"time"

	"weald/ingest/sample"
	"weald/rules/relief"
)

// A Sitting is how somebody sits, as of the last instant that was evaluated: by
// the first rule that judges relief at the place, or by the bounds of Sonenblum
// 2016 where none does.
type Sitting struct {
	Seated   sample.Truth  // also unknown while the rule does not judge
	Since    time.Duration // seated with nothing that counts
	Interval time.Duration // for how long that may be; 0 where no rule says

	// What counts is being held: for how long already, and how long it has to
	// last. Lasting is 0 while nothing of it is.
	Easing, Lasting time.Duration
}

// Sitting returns how somebody sits at a place; false where it is no seat.
func (e *Engine) Sitting(place int) (Sitting, bool) {
	p := e.places[place]
	if p.spec.Kind != Seat {
		return Sitting{}, false
	}
	for _, w := range p.watches {
		if j, ok := w.(*judged); ok {
			if r, ok := j.judge.(*reliefJudge); ok {
				s := sittingOf(r.tracker)
				if s.Interval = r.rule.Interval; !j.gate.open {
					s.Seated = sample.Maybe
				}
				return s, true
			}
		}
	}
	for _, d := range p.derivations {
		if seat, ok := d.(*seatState); ok {
			return sittingOf(seat.tracker), true
		}
	}
	return Sitting{}, false
}

func sittingOf(t *relief.Tracker) Sitting {
	s := Sitting{Seated: t.Seated(), Since: t.Since()}
	s.Easing, s.Lasting = t.Easing()
	return s
}
