package pipeline

import (
	"context"
	"errors"
	"fmt"
	"time"

	"weald/rules"
	"weald/rules/alert"
	"weald/stream/view"
)

// ErrNotKept is wrapped by the error of an action that the recorder could not
// keep, so that it was not done.
var ErrNotKept = errors.New("it could not be kept, and was not done")

// ErrWaits is wrapped by the error of what was done, and is in force, and could not be kept
// yet: it waits for that, and is lost with whoever has it wait.
var ErrWaits = errors.New("it is done, and waits to be kept")

// decide has what a person does kept, as the input that comes next, and says whether it is to be
// done, and what to answer for it. What is not done was no input: else the record would end before
// the last one, and take no snapshot until another came.
func (p *Pipeline) decide(keep func(Recorder, uint64) error) (do bool, answer error) {
	var err error
	p.record(func(r Recorder, ord uint64) { err = keep(r, ord) })
	if err == nil || errors.Is(err, ErrWaits) {
		return true, err
	}
	p.ord--
	return false, fmt.Errorf("%w: %w", ErrNotKept, err)
}

// A Deed is what a person wants to do with an alert now.
type Deed struct {
	Verb alert.Verb
	Who  string // the person's code
	Why  string
	For  time.Duration // shelve: for how long
}

// Act does what a person wants to do with an alert and returns the alert as it
// then is. When it returns, what was done and what it brought about are in the
// record, and followers have been told. Its errors wrap alert.ErrRefused,
// rules.ErrNoAlert or ErrNotKept, and nothing has been done then; or ErrWaits, and it has
// been; or they are those of Do, and nobody knows.
func (p *Pipeline) Act(ctx context.Context, k alert.Key, d Deed) (a view.Alert, err error) {
	asked := p.do(ctx, func(s *State) { a, err = p.act(k, d) })
	return a, errors.Join(asked, err)
}

func (p *Pipeline) act(k alert.Key, d Deed) (view.Alert, error) {
	st := p.state
	place, ok := st.index[k.Place]
	if !ok {
		return view.Alert{}, fmt.Errorf("%s: %w", k.ID(), rules.ErrNoAlert)
	}
	for n := len(p.in); n > 0; n-- { // what was felt before has its say before
		p.take(<-p.in)
	}
	a := alert.Action{Verb: d.Verb, At: st.PlaceNow(place), Who: d.Who, Why: d.Why}
	if d.Verb == alert.Shelve {
		a.Until = a.At.Add(d.For)
	}
	if err := st.judge.Permits(place, k, a); err != nil {
		return view.Alert{}, err
	}
	do, answer := p.decide(func(r Recorder, ord uint64) error { return r.Act(ord, k, a) })
	if !do {
		return view.Alert{}, answer
	}
	if err := st.judge.Act(place, k, a); err != nil {
		return view.Alert{}, err // it was permitted; the judge has a bug
	}
	st.expect(place)
	p.settle()
	return st.alerts.entries[st.alerts.byID[k.ID()]], answer
}
