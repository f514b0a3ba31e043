package afar

import (
	"context"
	"encoding/json"
	"slices"
	"time"

	"github.com/nats-io/nats.go"

	"weald/stream/view"
)

// How places are at a ward is asked of the machine that judges there, which knows it: what
// is shown of a reading depends on calibrations, zeroings and creep before it, and a centre
// that worked it out again might show another number. Nobody is told who does not ask, and
// nothing of it is kept.

const (
	// askEvery is how often is asked, heardFor for how long an answer is taken for the
	// present; more than one may be lost on a poor link.
	askEvery = time.Second
	heardFor = 4 * time.Second

	mostPlaces = 4096
)

// subject is where the machine that does the work for a record is asked.
func subject(record string) string { return "weald." + record + ".places" }

// A shown is one of so many places, as it is told.
type shown struct {
	Index int        `json:"index"`
	Of    int        `json:"of"`
	Place view.Place `json:"place"`

	Unkept *Unkept `json:"unkept,omitempty"` // former versions do not say it
}

// An Unkept is why nothing that happens at a ward gets into its record, or its log, and since when:
// alerts are told there, and are not known here.
type Unkept struct {
	Since time.Time `json:"since"`
	Why   string    `json:"why"`
}

// A Place is one of the ward's, as it was there when that was heard here.
type Place struct {
	view.Place
	HeardAt time.Time `json:"heard_at"`
}

// Answer tells whoever asks how the places of a record are, and whether anything is kept, by look, until stop is called.
// Whoever calls it does the work for that record.
func Answer(conn *nats.Conn, record string, look func() ([]view.Place, *Unkept)) (stop func(), err error) {
	sub, err := conn.Subscribe(subject(record), func(m *nats.Msg) {
		places, unkept := look()
		for i := range places {
			if b, err := json.Marshal(shown{i, len(places), places[i], unkept}); err == nil {
				_ = m.Respond(b) // who does not hear it asks again
			}
		}
	})
	if err != nil {
		return nil, err
	}
	return func() { _ = sub.Unsubscribe() }, nil
}

// Ask asks how places are, again and again until ctx ends, and returns the cause.
func (w *Ward) Ask(ctx context.Context, conn *nats.Conn, record string) error {
	inbox := conn.NewRespInbox()
	sub, err := conn.Subscribe(inbox, func(m *nats.Msg) { w.hear(m.Data) })
	if err != nil {
		return err
	}
	defer func() { _ = sub.Unsubscribe() }()
	tick := time.NewTicker(askEvery)
	defer tick.Stop()
	for {
		_ = conn.PublishRequest(subject(record), inbox, nil) // without a connection nobody answers
		select {
		case <-tick.C:
		case <-ctx.Done():
			return context.Cause(ctx)
		}
	}
}

// hear takes in how one place is. What means nothing is another version's.
func (w *Ward) hear(b []byte) {
	var s shown
	if json.Unmarshal(b, &s) != nil || s.Index < 0 || s.Index >= s.Of || s.Of > mostPlaces || s.Place.ID == "" {
		return
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	if len(w.places) != s.Of { // another configuration came into force there
		w.places = make([]*Place, s.Of)
	}
	w.places[s.Index] = &Place{s.Place, w.now()}
	if w.unkept != nil && s.Unkept == nil {
		w.again = w.now()
	}
	if w.unkept = s.Unkept; w.unkept != nil && w.unkept.Since.Before(w.seen) {
		w.seen = w.unkept.Since
	}
}

// Answers reports whether somebody has said of late how places are, who does the work then.
func (w *Ward) Answers() bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return slices.ContainsFunc(w.places, func(p *Place) bool { return p != nil && w.now().Sub(p.HeardAt) <= heardFor })
}

// shownNow returns how places are, in the ward's order. Of one that was not heard of late
// nothing is known any more: its values are gone, and when it was heard stays. The caller
// holds mu.
func (w *Ward) shownNow() []Place {
	out := []Place{}
	for _, p := range w.places {
		if p == nil {
			continue
		}
		one := *p
		if w.now().Sub(p.HeardAt) > heardFor {
			one.Place = view.Place{ID: p.ID, Kind: p.Kind, State: view.StateUnknown, Text: "not known: the ward does not say",
				Sites: p.Sites, Mat: p.Mat, Signals: map[string]view.Signal{}, Alerts: []view.Alert{}, Holds: []view.Hold{}}
		}
		out = append(out, one)
	}
	return out
}
