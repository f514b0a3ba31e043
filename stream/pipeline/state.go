package pipeline

import (
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/lag"
	"weald/stream/view"
)

// A State is what the pipeline knows. It is only valid inside the function that
// was given to Do.
type State struct {
	plan  *rules.Plan
	views *view.Builder
	clock Clock
	judge Judge
	index map[string]int // place by id

	bySource [][]int // places by source
	places   []placeState
	alerts   book

	// Buffers for what followers are told.
	update Update
	holds  []rules.Progress
	loaded []time.Duration
}

// A placeState is what the pipeline remembers about a place beside the engine.
type placeState struct {
	lag        lag.Lag
	updated    sample.Instant   // newest evaluated instant; Past before the first
	progressed sample.Instant   // when Holds were last told, on the daemon's clock
	known      []sample.Instant // when each signal last had a value
	late       uint64
	series     []Series // never changes
}

func newState(plan *rules.Plan, views *view.Builder, clock Clock) *State {
	s := &State{
		plan: plan, views: views, clock: clock,
		index:    make(map[string]int),
		bySource: make([][]int, len(plan.Sources)),
		places:   make([]placeState, len(plan.Places)),
		alerts:   book{byID: make(map[string]int)},
	}
	for i := range plan.Places {
		p := &plan.Places[i]
		s.index[p.ID] = i
		for source := range plan.Sources {
			if uses(p, source) {
				s.bySource[source] = append(s.bySource[source], i)
			}
		}
		s.places[i].updated = sample.Past
	}
	return s
}

// prepare looks at what the engine will deliver.
func (s *State) prepare() {
	for i := range s.places {
		s.places[i].known = make([]sample.Instant, len(s.judge.Signals(i)))
		for k := range s.places[i].known {
			s.places[i].known[k] = sample.Past
		}
		s.places[i].series = s.newSeries(i)
	}
}

func uses(p *rules.Place, source int) bool {
	if p.Mat != nil && p.Mat.Source == source {
		return true
	}
	for _, site := range p.Sites {
		for _, c := range site.Channels {
			if c.Source == source {
				return true
			}
		}
	}
	return false
}

// heard notes with what delay the places of a source hear from it. Scans that a
// bridge kept for later say nothing about that.
func (s *State) heard(w *waiting) {
	if w.scan.Stored {
		return
	}
	for _, i := range s.bySource[w.scan.Source] {
		s.places[i].lag.Add(w.since, w.since.Sub(w.scan.At))
	}
}

// next returns when the engine wants to see the time, on the daemon's clock.
func (s *State) next() sample.Instant {
	next := sample.Never
	for i := range s.places {
		next = min(next, s.judge.NextPlace(i).Add(s.places[i].lag.Least()))
	}
	return next
}

// tick calls show for every place that wants to see its own present.
func (s *State) tick(now sample.Instant, show func(place int, now sample.Instant)) {
	for i := range s.places {
		if at := now.Add(-s.places[i].lag.Least()); s.judge.NextPlace(i) <= at {
			show(i, at)
		}
	}
}

// Now returns the daemon's instant.
func (s *State) Now() sample.Instant { return s.clock.Now() }

// PlaceNow returns the place's present in event time. For a bridge that stamps
// what it measures it is a few milliseconds ago; for a recording that is played
// with its own times it is the time of the recording.
func (s *State) PlaceNow(i int) sample.Instant {
	return s.clock.Now().Add(-s.places[i].lag.Least())
}

// Index returns the position of a place in the plan.
func (s *State) Index(id string) (int, bool) {
	i, ok := s.index[id]
	return i, ok
}

// Place returns the view of the place with that index.
func (s *State) Place(i int) view.Place {
	now := view.Now{
		At:        s.PlaceNow(i),
		LastScan:  s.places[i].updated,
		Signals:   s.judge.Signals(i),
		LastKnown: s.places[i].known,
		Holds:     s.judge.Progress(i, s.holds[:0]),
		Alerts:    s.alerts.raised(s.plan.Places[i].ID),
	}
	s.holds = now.Holds[:0]
	return s.views.Place(i, &now)
}

// Places returns the views of all places in the order of the plan.
func (s *State) Places() []view.Place {
	all := make([]view.Place, len(s.plan.Places))
	for i := range all {
		all[i] = s.Place(i)
	}
	return all
}

// Signals returns the signals of a place as the engine has them, and its
// present. A signal is unknown once that is past its Until. The slice is the
// engine's.
func (s *State) Signals(i int) ([]rules.Signal, sample.Instant) {
	return s.judge.Signals(i), s.PlaceNow(i)
}

// Holds returns the holds of a place; the slice is the State's.
func (s *State) Holds(i int) []rules.Progress {
	s.holds = s.judge.Progress(i, s.holds[:0])
	return s.holds
}

// Late returns how many scans came too late to be evaluated for a place.
func (s *State) Late(i int) uint64 { return s.places[i].late }

// Alerts returns the alerts that are raised and those cleared within the last
// hour, the raised ones first, each with its latest episode.
func (s *State) Alerts() []view.Alert {
	s.alerts.forget(func(place string) sample.Instant {
		if i, ok := s.index[place]; ok {
			return s.PlaceNow(i)
		}
		return s.clock.Now()
	})
	return s.alerts.list()
}
