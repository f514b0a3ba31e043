package rules

import (
	"errors"
	"fmt"

	"weald/ingest/sample"
	"weald/rules/alert"
)

// ErrNoAlert is wrapped by the error of an action on an alert that the plan does
// not have.
var ErrNoAlert = errors.New("there is no such alert")

// A life is that of one alert of a place. It stands between what the watches find
// and what the Sink is told.
type life struct {
	alert.Life
	spec alert.Spec
	base alert.Event // what all its changes have in common

	nobody bool // what suppress was told last; Suppressed follows with its event
}

// addLives gives every alert that the watches can raise its life.
func (p *place) addLives() {
	p.byKey = make(map[alert.Key]int)
	p.lifeDue = sample.Never
	for _, w := range p.watches {
		for _, h := range w.progress(p, nil) {
			p.byKey[h.Key] = len(p.lives)
			p.lives = append(p.lives, life{
				spec: alert.Spec{Latched: w.judges().Latched, EscalateAfter: w.judges().EscalateAfter},
				base: alert.Event{
					Key: h.Key, Priority: h.Priority, Signal: h.Signal, Unit: h.Unit,
					Value: sample.Unknown, U: sample.Unknown, Limit: sample.Unknown,
				},
			})
		}
	}
}

// live takes what a watch has found, after everything that was due by then.
func (p *place) live(e alert.Event) {
	p.fire(e.At)
	l := &p.lives[p.byKey[e.Key]]
	switch e.What {
	case alert.WasSuppressed, alert.WasUnsuppressed:
		p.told = l.Suppress(&l.spec, l.base, e.What == alert.WasSuppressed, e.At, p.told[:0])
	default:
		p.told = l.Hold(&l.spec, e, p.told[:0])
	}
	p.tellTold(l)
}

// fire lets happen what is due by the instant to, in order of time; of what is
// due at once, in the order of the rules.
func (p *place) fire(to sample.Instant) {
	for p.lifeDue <= to {
		for i := range p.lives {
			if l := &p.lives[i]; l.Next(&l.spec) == p.lifeDue {
				p.told = l.Tick(&l.spec, l.base, p.lifeDue, p.told[:0])
				p.tellTold(l)
				break
			}
		}
	}
}

// tellTold tells what a life has just brought about, and sees what is due next.
func (p *place) tellTold(l *life) {
	for i := range p.told {
		if p.told[i].Text == "" {
			p.told[i].Text = lifeSentence(&p.told[i], &l.Life)
		}
		p.sink.Alert(p.told[i])
	}
	p.lifeDue = sample.Never
	for i := range p.lives {
		p.lifeDue = min(p.lifeDue, p.lives[i].Next(&p.lives[i].spec))
	}
}

// suppress puts the alerts of a rule aside by design while there is nobody to be
// judged, an empty bed or seat or a limb without a wrap, and takes them back when
// there is somebody. Where it is not known whether there is, they are judged:
// what nobody knows is no reason for silence. It is for watches and signals to
// call, at p.at, as often as they like.
func (p *place) suppress(r *Rule, nobody sample.Truth) {
	for i := range p.lives {
		l := &p.lives[i]
		if l.base.Rule != r.ID || l.nobody == (nobody == sample.Yes) {
			continue
		}
		l.nobody = nobody == sample.Yes
		e := l.base
		if e.At, e.What = p.at, alert.WasUnsuppressed; l.nobody {
			e.What = alert.WasSuppressed
			p.aside++
		} else {
			p.aside--
		}
		p.events = append(p.events, e)
	}
}

// find returns the life of an alert.
func (p *place) find(k alert.Key) (*life, error) {
	i, ok := p.byKey[k]
	if !ok {
		return nil, fmt.Errorf("%s: %w", k.ID(), ErrNoAlert)
	}
	return &p.lives[i], nil
}

// stamp gives an action the instant that it has for the place: nothing is done
// before what has been judged.
func (p *place) stamp(a alert.Action) alert.Action {
	a.At = max(a.At, p.at)
	return a
}

// Permits returns why an action on an alert of a place would not be taken now:
// an error that wraps alert.ErrRefused or ErrNoAlert, or nil.
func (e *Engine) Permits(place int, k alert.Key, a alert.Action) error {
	p := e.places[place]
	l, err := p.find(k)
	if err != nil {
		return err
	}
	a = p.stamp(a)
	return l.Permits(&l.spec, &a)
}

// Act takes what a person does with an alert of a place. It is an input like a
// scan or a tick, and what it brings about is told to the Sink before it
// returns. Its errors are those of Permits, and nothing has happened then.
func (e *Engine) Act(place int, k alert.Key, a alert.Action) error {
	p := e.places[place]
	l, err := p.find(k)
	if err != nil {
		return err
	}
	a = p.stamp(a)
	if p.told, err = l.Act(&l.spec, l.base, &a, p.told[:0]); err != nil {
		return err
	}
	p.tellTold(l)
	p.reckon()
	return nil
}

// A Standing is an alert that is in some other state than normal.
type Standing struct {
	alert.Key
	State  alert.State
	Raised bool // people have been told that it is raised, and not that it is cleared

	// Aside is, for a state in which it is put aside, the change that led there,
	// as far as is known still: of one by design, the instant is the place's.
	Aside alert.Event
}

// Standing appends the alerts of a place that are not in the state normal to dst.
func (e *Engine) Standing(place int, dst []Standing) []Standing {
	p := e.places[place]
	for i := range p.lives {
		l := &p.lives[i]
		if s := l.State(&l.spec); s != alert.Normal {
			dst = append(dst, Standing{Key: l.base.Key, State: s, Raised: l.Raised, Aside: l.aside(s, p.at)})
		}
	}
	return dst
}

func (l *life) aside(s alert.State, now sample.Instant) alert.Event {
	e := l.base
	e.At, e.State, e.Stands, e.Chattering = now, s, l.Raised, l.Chattering
	var by alert.Note
	switch s {
	case alert.Shelved:
		e.What, by = alert.WasShelved, l.Shelf
	case alert.OutOfService:
		e.What, by = alert.WentOut, l.Out
	case alert.Suppressed:
		e.What = alert.WasSuppressed
	default:
		return alert.Event{}
	}
	if e.Who, e.Why, e.Until = by.Who, by.Why, by.Until; by.Who != "" {
		e.At = by.At
	}
	e.Text = lifeSentence(&e, &l.Life)
	return e
}
