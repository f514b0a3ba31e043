package turning

import (
	"time"

	"weald/ingest/sample"
	"weald/rules/posture"
)

// A State is what is known of a bed.
type State struct {
	Occupied sample.Truth
	Position posture.Position // NotSure too where nobody is known to be there
	Since    sample.Instant   // since when they lie as they do; Past if not known
	Turns    int              // how often somebody has been found to have turned
}

// A Tracker follows one bed. It belongs to one goroutine and allocates nothing
// once made.
type Tracker struct {
	settings Settings
	newtons  float64 // of a cell, per mmHg
	look     *posture.Recogniser

	at     sample.Instant // of the last scan; Past before the first
	dark   bool           // nothing is known since
	looked sample.Instant // when the picture was looked at last
	body   bool           // there was a load on the last map
	other  time.Duration  // how long that has been otherwise than Occupied says
	state  State

	lain, next pattern // how they lie, and how they perhaps lie now
}

// New returns a Tracker of a bed about which nothing is known.
func New(m posture.Mat, s Settings) *Tracker {
	along, across := m.Pitch()
	rows, columns := posture.Shape()
	return &Tracker{
		settings: s, newtons: along * across * 1e-6 * sample.MMHg(1).Pascals(), look: posture.New(m),
		at: sample.Past, dark: true, looked: sample.Past, state: State{Since: sample.Past},
		lain: pattern{pic: make([]float64, rows*columns)}, next: pattern{pic: make([]float64, rows*columns)},
	}
}

// State returns what is known now.
func (t *Tracker) State() State {
	if t.dark {
		return State{Since: sample.Past, Turns: t.state.Turns}
	}
	return t.state
}

// Silence says that nothing is known from now on, until the next scan.
func (t *Tracker) Silence() { t.dark = true }

// Scan looks at a map, in mmHg, NaN where unknown.
//
// The time since the last scan counts for what was seen then, unless Silence was
// called in between. A scan that is older than the last one is looked at, but no
// time passes.
func (t *Tracker) Scan(at sample.Instant, values []float64) {
	if !t.dark && at > t.at {
		t.pass(at, at.Sub(t.at))
	}
	t.at = at
	if !t.attend(values) {
		t.dark = true
		return
	}
	t.dark = false
	if t.state.Occupied == sample.Maybe {
		t.state.Occupied = sample.Of(t.body)
	}
	if t.body && t.state.Occupied == sample.Yes && (t.looked == sample.Past || at < t.looked || at.Sub(t.looked) >= beat) {
		t.looked = at
		t.lie(at, values)
	}
}

// pass lets time pass in which the last map lasted, to at.
func (t *Tracker) pass(at sample.Instant, span time.Duration) {
	if t.next.there {
		t.next.seen += span
	}
	if sample.Of(t.body) == t.state.Occupied {
		t.other = 0
		return
	}
	if t.other += span; t.other >= gone {
		t.other = 0
		t.state = State{Occupied: sample.Of(t.body), Since: sample.Past, Turns: t.state.Turns}
		t.lain.there, t.next.there, t.looked = false, false, sample.Past
	}
}

// attend looks whether there is a load on the bed; false when fewer than half
// of the cells say anything.
func (t *Tracker) attend(values []float64) bool {
	level, known := background(values)
	if known == 0 || 2*known < len(values) {
		return false
	}
	least := t.settings.Least
	if t.body {
		least /= 2
	}
	load := stands(values, level) * t.newtons * float64(len(values)) / float64(known)
	t.body = load >= least
	return true
}

// lie looks at how somebody lies.
func (t *Tracker) lie(at sample.Instant, values []float64) {
	a := t.look.Recognise(values)
	if sample.IsUnknown(a.Supine) {
		return
	}
	pic, along, across := t.look.Last()
	if t.lain.there && t.lain.is(pic, along, across) {
		t.next.there = false
		if t.state.Position == posture.NotSure {
			t.lain.believe(a)
			t.state.Position = t.lain.position()
		}
		return
	}
	if !t.next.there || !t.next.is(pic, along, across) {
		t.next.begin(at, pic, along, across, a)
		return
	}
	t.next.believe(a)
	if t.next.seen >= t.settings.Settle {
		t.settle()
	}
}

// settle takes up the pattern that has lasted. It is a turn when it is another
// position, another place, or far from what was; else it is how somebody lies
// who has stirred.
func (t *Tracker) settle() {
	position := t.next.position()
	switch {
	case !t.lain.there:
		t.state.Since = t.next.since
	case t.turned(position):
		t.state.Since = t.next.since
		t.state.Turns++
	case position == posture.NotSure:
		position = t.state.Position // a stir has not made it less known
	}
	t.state.Position = position
	t.lain, t.next = t.next, t.lain
	t.next.there = false
}

func (t *Tracker) turned(position posture.Position) bool {
	if position != posture.NotSure && t.state.Position != posture.NotSure && position != t.state.Position {
		return true
	}
	return t.lain.far(t.next.along, t.next.across) > moved || posture.Distance(t.lain.pic, t.next.pic) > elsewhere
}
