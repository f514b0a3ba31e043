package rules

import "weald/ingest/sample"

// LastScan returns the event time of the newest scan that was evaluated for a
// place, sample.Past before the first. What was late, or still waits for other
// sources, does not move it; nor does the passing of time.
func (e *Engine) LastScan(place int) sample.Instant {
	last := sample.Past
	for _, f := range e.places[place].feeds {
		last = max(last, f.last)
	}
	return last
}
