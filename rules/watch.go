package rules

import (
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/rules/hold"
)

// A signalWatch judges one signal against a band.
type signalWatch struct {
	rule   *Rule
	key    alert.Key
	signal int
	feeds  []int // what the signal and the gate rest on
	spec   hold.Spec
	band   hold.Certain
	gate   gate

	hold    hold.State
	memory  hold.Memory
	cond    sample.Truth
	since   sample.Instant // when it was raised
	unknown bool           // it is raised, and people have been told that the signal is unknown
}

func (w *signalWatch) advance(p *place, from sample.Instant, span time.Duration) {
	if !w.gate.open {
		return
	}
	change, offset := w.hold.Advance(&w.spec, span, w.cond)
	at := from.Add(offset)
	switch change {
	case hold.Raised:
		w.since, w.unknown = at, false
		w.tell(p, alert.Raised, at, w.spec.OnDelay)
	case hold.Cleared:
		w.tell(p, alert.Cleared, at, at.Sub(w.since))
	}
}

func (w *signalWatch) set(p *place) {
	w.cond, w.memory = w.band.Judge(p.signals[w.signal].Value, p.signals[w.signal].U, w.memory)
	w.gate.set(p)
	w.advance(p, p.at, 0)
	if unknown := w.hold.Raised && w.cond == sample.Maybe; w.hold.Raised && unknown != w.unknown {
		w.unknown = unknown
		w.tell(p, knownOr(unknown), p.at, p.at.Sub(w.since))
	}
}

func knownOr(unknown bool) alert.Change {
	if unknown {
		return alert.Unknown
	}
	return alert.Known
}

func (w *signalWatch) next() (time.Duration, bool, bool, []int) {
	if !w.gate.open {
		return 0, false, w.hold.Raised && !w.unknown, w.feeds
	}
	in, ok := w.hold.Next(&w.spec, w.cond)
	return in, ok, w.hold.Raised && !w.unknown, w.feeds
}

func (w *signalWatch) tell(p *place, what alert.Change, at sample.Instant, held time.Duration) {
	s := &p.signals[w.signal]
	e := alert.Event{
		At: at, Key: w.key, What: what, Priority: w.rule.Priority,
		Signal: s.Name, Unit: s.Unit, Value: s.Value, U: s.U, Limit: w.band.Limit(s.Value), Held: held,
	}
	e.Text = sentence(&e, w.rule, "", s.Extrapolated)
	p.events = append(p.events, e)
}

func (w *signalWatch) progress(p *place, dst []Progress) []Progress {
	s := &p.signals[w.signal]
	due := sample.Never
	if in, ok, _, _ := w.next(); ok && !w.hold.Raised {
		due = p.at.Add(in)
	}
	return append(dst, newProgress(w.key, w.rule, s.Name, s.Unit, w.cond, w.hold, due, w.since))
}

func newProgress(key alert.Key, rule *Rule, signal, unit string, cond sample.Truth, h hold.State, due, since sample.Instant) Progress {
	if !h.Raised {
		since = sample.Past
	}
	return Progress{
		Key: key, Signal: signal, Priority: rule.Priority, Unit: unit,
		Condition: cond, Held: h.Held, OnDelay: rule.OnDelay, Due: due,
		Raised: h.Raised, Since: since, Unknown: h.Raised && cond == sample.Maybe,
	}
}
