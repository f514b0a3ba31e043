package turning

import (
	"time"

	"weald/ingest/sample"
	"weald/rules/posture"
)

// A Tracker follows who lies in one bed. It belongs to one goroutine, and
// allocates nothing once made.
//
// It is told of every scan by Scan, Away or Silence, and between them of the
// time that passes by Advance.
type Tracker struct {
	settings Settings
	look     *posture.Recogniser

	seeing   seeing
	silent   time.Duration // how long it has been Silence without a break
	unlooked time.Duration // since the picture was looked at
	position posture.Position
	held     time.Duration // that somebody has been seen to lie without a turn
	turns    int

	lain, next pattern // how they lie, and how they perhaps lie now
}

// seeing is what the tracker was told last.
type seeing int

const (
	nothing seeing = iota
	nobody
	somebody
	empty // by the present map, while somebody is taken to be in the bed still
)

// New returns a Tracker of a bed about which nothing is known.
func New(m posture.Mat, s Settings) *Tracker { return NewWith(posture.New(m), s) }

// NewWith is New with a recogniser of one's own, which is then the tracker's.
func NewWith(r *posture.Recogniser, s Settings) *Tracker {
	rows, columns := posture.Shape()
	return &Tracker{
		settings: s, look: r, unlooked: beat,
		lain: pattern{pic: make([]float64, rows*columns)}, next: pattern{pic: make([]float64, rows*columns)},
	}
}

// Known says whether it is known that somebody lies there: Maybe in a silence.
func (t *Tracker) Known() sample.Truth {
	switch t.seeing {
	case nothing:
		return sample.Maybe
	case nobody:
		return sample.No
	}
	return sample.Yes
}

// Position returns how somebody lies; NotSure too where nothing is known, and
// while nobody has lain in one way for Settle.
func (t *Tracker) Position() posture.Position {
	if t.Known() != sample.Yes {
		return posture.NotSure
	}
	return t.position
}

// Held returns for how long somebody has been seen in the bed without a turn,
// the settling after it included. A silence does not count, and does not undo it
// unless it lasts for ForgetAfter; an empty bed does.
func (t *Tracker) Held() time.Duration { return t.held }

// Turns returns how many turns have been found.
func (t *Tracker) Turns() int { return t.turns }

// Advance lets time pass in which what was told last goes on.
func (t *Tracker) Advance(span time.Duration) {
	switch t.seeing {
	case nothing:
		if t.silent += min(span, t.settings.ForgetAfter-t.silent); span > 0 && t.silent >= t.settings.ForgetAfter {
			t.forget()
		}
	case somebody:
		t.held += span
		t.unlooked += span
		if t.next.there {
			t.next.seen += span
		}
	case empty:
		t.held += span
	}
}

// Silence says that nothing is known until the next scan.
func (t *Tracker) Silence() {
	if t.seeing != nothing {
		t.seeing, t.silent = nothing, 0
	}
}

// Away says that there is nobody: gone is whether they have left the bed, rather
// than been off it for a moment.
func (t *Tracker) Away(gone bool) {
	t.seeing = empty
	if gone {
		t.seeing = nobody
		t.forget()
	}
}

func (t *Tracker) forget() {
	t.position, t.held, t.unlooked = posture.NotSure, 0, beat
	t.lain.there, t.next.there = false, false
}

// Scan looks at a map of somebody who is there, NaN where unknown. It reports
// whether a turn was found in it.
func (t *Tracker) Scan(values []float64) (turned bool) {
	t.seeing = somebody
	if t.unlooked < beat {
		return false
	}
	t.unlooked = 0
	if !t.look.Draw(values) {
		return false
	}
	pic, along, across := t.look.Last()
	if t.lain.there && t.lain.is(pic, along, across) {
		t.next.there = false
		if t.position == posture.NotSure {
			t.lain.believe(t.look.Judge())
			t.position = t.lain.position()
		}
		return false
	}
	if !t.next.there || !t.next.is(pic, along, across) {
		t.next.begin(pic, along, across)
	}
	t.next.believe(t.look.Judge())
	return t.next.seen >= t.settings.Settle && t.settle()
}

// settle takes up the pattern that has lasted. It is a turn when it is another
// position, another place, or far from what was; else it is how somebody lies
// who has stirred, or has just come.
func (t *Tracker) settle() (turned bool) {
	position := t.next.position()
	switch turned = t.lain.there && t.differs(position); {
	case turned:
		t.held = t.next.seen
		t.turns++
	case position == posture.NotSure:
		position = t.position // a stir has not made it less known
	}
	t.position = position
	t.lain, t.next = t.next, t.lain
	t.next.there = false
	return turned
}

func (t *Tracker) differs(position posture.Position) bool {
	if t.next.doubts(t.position) || t.lain.doubts(position) {
		return true
	}
	return t.lain.far(t.next.along, t.next.across) > moved || posture.Distance(t.lain.pic, t.next.pic) > elsewhere
}
