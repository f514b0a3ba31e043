package limb

import (
	"time"

	"weald/ingest/sample"
	"weald/rules/state"
)

// markWaits is for how long what was said waits for the rest that it is of; our own
// choice, no source.
const markWaits = 2 * time.Minute

// Marks are what people have said of the posture of a limb. What is said is of one
// rest: the present one, or the next while the limb moves. No posture changes without
// a movement, so that what contradicts what was said of this rest is of the next.
type Marks struct {
	said  sample.Truth   // that it stands, of this rest or the one that comes; Maybe for nothing
	next  sample.Truth   // of the rest after that
	at    sample.Instant // when the newest of them was said
	begun bool           // the rest that said is of has a level
	laid  bool           // the level of a rest of which it was said that the limb lies is known
}

// Mark takes that somebody says how the limb rests: upright, or lying.
func (l *Limb) Mark(stands bool, at sample.Instant) {
	m, said := &l.marks, sample.Of(stands)
	m.at = at
	if m.begun && m.said != said {
		m.next = said
		return
	}
	m.said, m.next = said, sample.Maybe
}

// moves takes that the limb no longer rests.
func (m *Marks) moves() {
	if m.begun {
		m.said, m.next, m.begun = m.next, sample.Maybe, false
	}
}

// of reports whether anything was said of a rest that has a level at an instant.
func (m *Marks) of(at sample.Instant) bool {
	if !m.begun && at.Sub(m.at) > markWaits {
		m.said, m.next = sample.Maybe, sample.Maybe
	}
	return m.said != sample.Maybe
}

// told goes by what was said of the present rest, whatever was recognised. The rise
// is that from the newest rest of which it was said that the limb lay and, while there
// is none, from the one that was recognised.
func (l *Limb) told() {
	m := &l.marks
	m.begun = true
	l.stood, l.now.Standing, l.moved = m.said, m.said, false
	for _, s := range l.sites {
		switch {
		case s.level != s.level:
		case m.said == sample.No:
			s.lying, s.rise = s.level, sample.Unknown
		default:
			s.rise = s.level - s.lying
		}
	}
	m.laid = m.laid || m.said == sample.No
}

// lies notes levels at which it was recognised that the limb lies.
func (l *Limb) lies(level func(*site) float64) {
	if l.marks.laid {
		return // people know better
	}
	for _, s := range l.sites {
		s.lying = level(s)
	}
}

// MarksCode is the state that marks have left, beside that of Code.
func (l *Limb) MarksCode() state.Coder { return marksCode{l} }

type marksCode struct{ *Limb }

// Code implements state.Coder.
func (l marksCode) Code(c *state.Codec) {
	c.Truth(&l.marks.said)
	c.Truth(&l.marks.next)
	c.Instant(&l.marks.at)
	c.Bool(&l.marks.begun)
	c.Bool(&l.marks.laid)
	for _, s := range l.sites {
		c.Float(&s.lying)
	}
}
