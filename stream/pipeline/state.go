package pipeline

import (
	"slices"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
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
	agenda   agenda  // when the engine wants to see the time, on the daemon's clock
	places   []placeState
	sources  []sourceState
	alerts   book

	// Buffers for what followers are told.
	update Update
	holds  []rules.Progress
	loaded []time.Duration
}

// A placeState is what the pipeline remembers about a place beside the engine.
// Instants are of the daemon's clock but for updated and known.
type placeState struct {
	lag        lag.Lag
	updated    sample.Instant   // event time of the newest evaluated scan; Past before the first
	evaluated  sample.Instant   // when updated moved last; before the first, when the pipeline was made
	arrived    sample.Instant   // when the last live scan came, evaluated or not; Past before the first
	lasts      time.Duration    // how long values last, of the source whose last longest
	progressed sample.Instant   // when Holds were last told
	known      []sample.Instant // when each signal last had a value
	late       uint64
	series     []Series // never changes
}

// A sourceState is what the pipeline remembers about a source. Instants are of
// the daemon's clock, Past for never.
type sourceState struct {
	arrived sample.Instant // when its last live scan came
	valid   sample.Instant // when the last one came that had a value
}

func newState(plan *rules.Plan, views *view.Builder, clock Clock) *State {
	s := &State{
		plan: plan, views: views, clock: clock,
		index:    make(map[string]int),
		bySource: make([][]int, len(plan.Sources)),
		places:   make([]placeState, len(plan.Places)),
		sources:  make([]sourceState, len(plan.Sources)),
		agenda:   newAgenda(len(plan.Places)),
		alerts:   book{byID: make(map[string]int), last: make(map[string]alert.Event)},
	}
	for i := range plan.Places {
		p := &plan.Places[i]
		s.index[p.ID] = i
		for source := range plan.Sources {
			if p.Uses(source) {
				s.bySource[source] = append(s.bySource[source], i)
				s.places[i].lasts = max(s.places[i].lasts, plan.Sources[source].StaleAfter)
			}
		}
		s.places[i].evaluated, s.places[i].arrived = clock.Now(), sample.Past
	}
	for i := range s.sources {
		s.sources[i] = sourceState{sample.Past, sample.Past}
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
		s.places[i].updated = s.judge.LastScan(i)
		s.places[i].series = s.newSeries(i)
	}
}

// heard notes with what delay the places of a source hear from it, and whether
// it has anything to say. Scans that a bridge kept for later say nothing about
// that.
func (s *State) heard(w *waiting) {
	if w.scan.Stored {
		return
	}
	source := &s.sources[w.scan.Source]
	source.arrived = w.since
	if slices.ContainsFunc(w.scan.Values, func(v float64) bool { return !sample.IsUnknown(v) }) {
		source.valid = w.since
	}
	for _, i := range s.bySource[w.scan.Source] {
		s.places[i].arrived = w.since
		s.places[i].lag.Add(w.since, w.since.Sub(w.scan.At))
	}
}

// expect notes when the engine wants to see the time for a place. It is to be called
// whenever that may have changed: after every input of the place, and when its lag is
// another.
func (s *State) expect(place int) {
	s.agenda.set(place, s.judge.NextPlace(place).Add(s.places[place].lag.Least()))
}

// tick calls show for every place that wants to see its own present.
func (s *State) tick(now sample.Instant, show func(place int, now sample.Instant)) {
	s.agenda.due(now, func(i int) {
		show(i, now.Add(-s.places[i].lag.Least()))
		s.expect(i)
	})
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
		Alerts:    s.alerts.of(s.plan.Places[i].ID, s.PlaceNow(i)),
		Stalled:   s.Stalled(i),
		Arriving:  s.Arriving(i),
	}
	s.holds = now.Holds[:0]
	return s.views.Place(i, &now)
}

// Signals returns the signals of a place as the engine has them; Current says
// which have a value. The slice is the engine's.
func (s *State) Signals(i int) []rules.Signal { return s.judge.Signals(i) }

// Current reports whether a signal of a place has a value now.
func (s *State) Current(i int, sig *rules.Signal) bool {
	return !sample.IsUnknown(sig.Value) && s.Lasts(i, sig.Until)
}

// Holds returns the holds of a place; the slice is the State's.
func (s *State) Holds(i int) []rules.Progress {
	s.holds = s.judge.Progress(i, s.holds[:0])
	return s.holds
}

// Sitting returns how somebody sits at a place and when its newest evaluated scan
// was taken, Past before the first; false where it is no seat.
func (s *State) Sitting(i int) (rules.Sitting, sample.Instant, bool) {
	sitting, seat := s.judge.Sitting(i)
	if s.Stalled(i) {
		sitting.Seated, sitting.Easing, sitting.Lasting = sample.Maybe, 0, 0
	}
	return sitting, s.places[i].updated, seat
}

// Late returns how many scans came too late to be evaluated for a place.
func (s *State) Late(i int) uint64 { return s.places[i].late }

// Alerts returns the alerts that are open or put aside and those that were over
// of late, the open ones first, each with its latest episode.
func (s *State) Alerts() []view.Alert {
	s.alerts.forget(func(place string) sample.Instant {
		if i, ok := s.index[place]; ok {
			return s.PlaceNow(i)
		}
		return s.clock.Now()
	})
	list := s.alerts.list()
	for k := range list {
		if i, ok := s.index[list[k].Place]; ok && s.Stalled(i) {
			list[k].Lose()
		}
	}
	return list
}
