package selfwatch

import (
	"math"
	"time"

	"weald/ingest/sample"
	"weald/rules/hold"
	"weald/stream/record"
)

// A Watch judges what is looked at. The zero instants of all that it remembers are
// those of the looks that it was given; it reads no clock. One goroutine owns it.
type Watch struct {
	settings []Setting
	states   []state
	at       sample.Instant // of the newest look; Past before the first
}

type state struct {
	hold   hold.State
	memory hold.Memory
	truth  sample.Truth
	value  float64        // the newest that was known, NaN before
	since  sample.Instant // raised: since when; Past otherwise
	text   string         // raised: what was said
}

// A Change is what a look has found.
type Change struct {
	At    sample.Instant
	Since sample.Instant // when what is over was raised; At for what is raised
	Fault record.Fault
}

// NewWatch returns a watch that has seen nothing, with a setting for each of Kinds.
func NewWatch(settings []Setting) *Watch {
	w := &Watch{settings: settings, states: make([]state, len(Kinds)), at: sample.Past}
	for i := range w.states {
		w.states[i] = state{truth: sample.Maybe, value: math.NaN(), since: sample.Past}
	}
	return w
}

// Stands says that a kind has been raised before: what was not over when a former run
// ended is not over now, and is looked at like all else.
func (w *Watch) Stands(kind int, since sample.Instant, text string) {
	s := &w.states[kind]
	s.hold, s.since, s.text = hold.State{Raised: true}, since, text
}

// lasts is for how long a look is taken for the present when no other follows: looks
// that do not come, as of a machine that sleeps, say nothing.
const lasts = 30 * time.Second

// Look takes a number for each of Kinds, NaN where it is not known, and returns what
// has changed, by time and then in the order of Kinds.
func (w *Watch) Look(now sample.Instant, values []float64) []Change {
	var out []Change
	add := func(k int, c hold.Change, at sample.Instant) {
		if c != hold.None {
			out = append(out, w.changed(k, c, at))
		}
	}
	for k := range w.states {
		s, set := &w.states[k], &w.settings[k]
		if set.Off {
			continue
		}
		spec := hold.Spec{OnDelay: set.After, OffDelay: Settles, ForgetAfter: set.After}
		if w.at != sample.Past && now > w.at {
			span := now.Sub(w.at)
			known := min(span, lasts)
			c, into := s.hold.Advance(&spec, known, s.truth)
			add(k, c, w.at.Add(into))
			if c != hold.None { // the rest of what is known, now that it has changed
				s.hold.Advance(&spec, known-into, s.truth)
			}
			if span > known {
				s.hold.Advance(&spec, span-known, sample.Maybe)
			}
		}
		band := bandOf(k, set)
		if s.truth, s.memory = band.Judge(values[k], s.memory); s.truth != sample.Maybe {
			s.value = values[k]
		}
		c, _ := s.hold.Advance(&spec, 0, s.truth)
		add(k, c, now)
	}
	w.at = max(w.at, now)
	return out
}

func bandOf(k int, set *Setting) hold.Band {
	if Kinds[k].Above {
		return hold.Above(set.Limit, Kinds[k].Back)
	}
	return hold.Below(set.Limit, Kinds[k].Back)
}

// changed notes a change and says it.
func (w *Watch) changed(k int, c hold.Change, at sample.Instant) Change {
	s := &w.states[k]
	f := record.Fault{Subject: record.SelfFault + Kinds[k].ID, Priority: w.settings[k].Priority}
	if c == hold.Raised {
		f.Text = Kinds[k].says(s.value, w.settings[k].Limit)
		s.since, s.text = at, f.Text
		return Change{At: at, Since: at, Fault: f}
	}
	f.Over, f.Text = true, Kinds[k].over
	out := Change{At: at, Since: s.since, Fault: f}
	s.since, s.text = sample.Past, ""
	return out
}

// A Condition is how one kind stands, for people.
type Condition struct {
	Kind    *Kind
	Setting Setting
	Value   float64        // NaN: not known
	Beyond  sample.Truth   // the limit, at the newest look
	Raised  bool           // there is an alert
	Since   sample.Instant // of the alert; Past without one
	Text    string         // of the alert; "" without one
}

// Words say what is wrong now: those of the alert, or those that it would have if the
// number stayed beyond its limit for long enough; "" where it is not beyond.
func (c *Condition) Words() string {
	if c.Raised || c.Beyond != sample.Yes {
		return c.Text
	}
	return c.Kind.says(c.Value, c.Setting.Limit)
}

// Conditions returns how all kinds stand, in the order of Kinds.
func (w *Watch) Conditions() []Condition {
	out := make([]Condition, len(Kinds))
	for k := range out {
		s := &w.states[k]
		out[k] = Condition{Kind: &Kinds[k], Setting: w.settings[k], Value: s.value, Beyond: s.truth, Raised: s.hold.Raised, Since: s.since, Text: s.text}
		if s.truth == sample.Maybe {
			out[k].Value = math.NaN()
		}
	}
	return out
}
