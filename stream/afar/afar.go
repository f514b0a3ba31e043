// Package afar has what a centre knows of a ward that keeps its record itself, from a copy
// that comes over a link: which alerts are open, which of them became known late, and when
// the ward was last seen; and how its places are now, for which it asks there. While there is
// no link, or not all has come that the ward wrote, it knows nothing newer, and says so.
package afar

import (
	"context"
	"sync"
	"time"

	"weald/rules/alert"
	"weald/stream/journal"
	"weald/stream/record"
	"weald/stream/view"
)

// lateAfter is by how much later than it was raised an alert becomes known for that to be
// said, which is our own choice. Clocks of two machines may differ by some of it.
const lateAfter = 10 * time.Second

// An Alert is one of the ward's.
type Alert struct {
	view.Alert
	// ReachedAt is when it became known here, where that was late; else nil. Of alerts
	// that the copy had when a centre began with it that is not known.
	ReachedAt *time.Time `json:"reached_at"`

	raised record.Position // of the entry by which it was raised last
}

// A Sight is what came of asking the ward's servers.
type Sight struct {
	At      time.Time       // when they were asked
	Reached bool            // they answered
	Behind  uint64          // how many of the changes that they had then the copy still lacks
	Through record.Position // the newest entry of the copy, where it lacks none
}

// A Ward is what is known of one. Any goroutine may ask.
type Ward struct {
	now func() time.Time

	mu     sync.Mutex
	alerts map[string]*Alert // guarded by mu, as is all below
	next   record.Position   // the first entry that has not been taken in
	seen   time.Time         // when all that is known was so at the ward; zero for never
	sight  Sight
	unkept *Unkept   // as whoever judges there has said last; nil for nothing
	again  time.Time // when it was heard last that the ward keeps again what waited; zero for never
	late   late
	places []*Place // in the ward's order; nil for one that was not heard yet
}

// New returns a Ward of which nothing is known.
func New(now func() time.Time) *Ward { return &Ward{now: now, alerts: map[string]*Alert{}} }

// Sighted notes what came of asking the ward's servers.
func (w *Ward) Sighted(s Sight) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.sight = s
	w.whole()
}

// whole reports whether all is known here that the ward had written when its servers were
// asked last, and notes that it was seen then. What the ward does not keep is not known, nor what it kept
// later than it happened, before its servers are asked after that. The caller holds mu.
func (w *Ward) whole() bool {
	s := &w.sight
	if !s.Reached || w.unkept != nil || s.At.Before(w.again) || s.Behind > 0 || w.next <= s.Through {
		return false
	}
	if s.At.After(w.seen) {
		w.seen = s.At
	}
	return true
}

// A Look is what was known at one moment.
type Look struct {
	Reached bool      // its servers answer
	Whole   bool      // and all is known here that they had then
	Behind  uint64    // how many changes of the record have not come, as far as is known
	Seen    time.Time // as of when all is known; zero for never
	Unkept  *Unkept   // why the ward keeps nothing, where it does not; nil else
	Alerts  []Alert   // those that are open or put aside, and those that were over of late
	Places  []Place   // in the ward's order, as far as anything was heard of them
}

// Look returns what is known.
func (w *Ward) Look() Look {
	w.mu.Lock()
	defer w.mu.Unlock()
	var sorted []view.Alert
	for _, a := range w.alerts {
		sorted = append(sorted, a.Alert)
	}
	view.SortAlerts(sorted)
	out := Look{Reached: w.sight.Reached, Whole: w.whole(), Behind: w.sight.Behind, Seen: w.seen, Unkept: w.unkept, Alerts: []Alert{}, Places: w.shownNow()}
	for _, a := range sorted {
		out.Alerts = append(out.Alerts, *w.alerts[a.ID])
	}
	return out
}

// Follow takes in what a copy of the ward's record has, and what comes to it, until ctx
// ends; it returns the cause, or why the copy cannot be read.
func (w *Ward) Follow(ctx context.Context, log journal.Log) error {
	var next record.Position
	for begun := false; ; begun = true {
		q, raised := journal.Query{From: next}, false
		for e, err := range journal.Readable(log.Entries(ctx, q), nil) {
			if err != nil {
				return err
			}
			next = e.Position + 1
			raised = w.take(&e, begun) || raised
		}
		w.forget()
		if raised || !begun {
			w.keep(max(next, 1) - 1)
		}
		if err := log.Wait(ctx, max(next, 1)-1); err != nil {
			return err
		}
	}
}

// take takes in an entry, which has come just now or was there before, and reports whether
// an alert was raised by it.
func (w *Ward) take(e *record.Entry, now bool) (raised bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	before := w.whole()
	w.next = e.Position + 1
	if written := e.Written.Time(); !before && !w.whole() && written.After(w.seen) {
		w.seen = written
	}
	t, ok := e.Body.(record.Transition)
	if !ok || t.Event.Quiet {
		return false
	}
	a := w.alerts[t.Event.ID()]
	if a == nil {
		a = &Alert{Alert: view.NewAlert(&t.Event)}
		w.alerts[a.ID] = a
	}
	a.Apply(&t.Event)
	if t.Event.What != alert.Raised {
		return false
	}
	a.raised = e.Position
	a.ReachedAt = w.late.of(e, now, w.now())
	return true
}

// forget drops what the ward itself does not list any more.
func (w *Ward) forget() {
	w.mu.Lock()
	defer w.mu.Unlock()
	for id, a := range w.alerts {
		if !a.Listed(w.now()) {
			delete(w.alerts, id)
		}
	}
}
