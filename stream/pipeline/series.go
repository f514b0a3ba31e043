package pipeline

import (
	"time"

	"weald/rules"
)

// A Series is something about a place that has a value over time: a signal of
// the engine, or how much of a rule's delay has been used.
type Series struct {
	Name, Unit string
	Lasts      time.Duration // how long a value stands without a successor
}

// usedName is the name of the series with the used share of a hold, 0 to 1.
func usedName(p *rules.Progress) string { return p.Subject + ".used/" + p.Rule }

// Series returns the series of a place: the signals, in the order of
// Update.Signals, and then one for each hold, in the order of Update.Holds.
// The slice never changes; any goroutine may read it.
func (p *Pipeline) Series(place int) []Series { return p.state.places[place].series }

func (s *State) newSeries(place int) []Series {
	lasts := s.places[place].lasts
	var all []Series
	signals := s.judge.Signals(place)
	for i := range signals {
		all = append(all, Series{Name: signals[i].Name, Unit: signals[i].Unit, Lasts: lasts})
	}
	holds := s.judge.Progress(place, nil)
	for i := range holds {
		// Holds are told once a second at most, so their values must reach
		// a second further.
		all = append(all, Series{Name: usedName(&holds[i]), Unit: "1", Lasts: lasts + time.Second})
	}
	return all
}
