package rules

import (
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/rules/hold"
)

// A signalWatch judges one signal against a band.
type signalWatch struct {
	standing
	signal int
	band   hold.Certain
	memory hold.Memory
}

func (w *signalWatch) advance(p *place, from sample.Instant, span time.Duration) {
	if !w.gate.open {
		return
	}
	if what, at, held := w.count(from, span); what != "" {
		w.tell(p, what, at, held)
	}
}

func (w *signalWatch) set(p *place) {
	w.cond, w.memory = w.band.Judge(p.signals[w.signal].Value, p.signals[w.signal].U, w.memory)
	w.gate.set(p)
	w.advance(p, p.at, 0)
	if what := w.lost(w.cond == sample.Maybe); what != "" {
		w.tell(p, what, p.at, p.at.Sub(w.since))
	}
}

func (w *signalWatch) tell(p *place, what alert.Change, at sample.Instant, held time.Duration) {
	s := &p.signals[w.signal]
	e := alert.Event{
		At: at, Key: w.key, What: what, Priority: w.rule.Priority,
		Signal: s.Name, Unit: s.Unit, Value: s.Value, U: s.U, Limit: w.band.Limit(s.Value), Held: held,
	}
	e.Text = sentence(&e, w.rule, "", reservation(s.Extrapolated, s.Expired))
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
