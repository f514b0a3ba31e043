// Package afar has what a centre knows of a ward that keeps its record itself, from a copy
// that comes over a link: which alerts are open, which of them became known late, and when
// the ward was last seen. While there is no link it knows nothing newer, and says so.
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
// said; common practice, no source. Clocks of two machines may differ by some of it.
const lateAfter = 10 * time.Second

// keepCleared is for how long alerts are listed that are over.
const keepCleared = time.Hour

// An Alert is one of the ward's.
type Alert struct {
	view.Alert
	// ReachedAt is when it became known here, where that was late; else nil. Of alerts
	// that the copy had when this process was started that is not known.
	ReachedAt *time.Time `json:"reached_at"`
}

// A Ward is what is known of one. Any goroutine may ask.
type Ward struct {
	now func() time.Time

	mu      sync.Mutex
	alerts  map[string]*Alert // guarded by mu, as is all below
	seen    time.Time         // zero for never
	reached bool
}

// New returns a Ward of which nothing is known.
func New(now func() time.Time) *Ward { return &Ward{now: now, alerts: map[string]*Alert{}} }

// Reached notes whether the ward is reached now.
func (w *Ward) Reached(is bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.reached = is; is {
		w.seen = w.now()
	}
}

// A Look is what was known at one moment.
type Look struct {
	Reached bool
	Seen    time.Time // when it was last seen; zero for never
	Alerts  []Alert   // those that are open or put aside, and those that were over of late
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
	out := Look{Reached: w.reached, Seen: w.seen, Alerts: []Alert{}}
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
		q := journal.Query{From: next}
		for e, err := range journal.Readable(log.Entries(ctx, q), nil) {
			if err != nil {
				return err
			}
			next = e.Position + 1
			w.take(&e, begun)
		}
		w.forget()
		if err := log.Wait(ctx, max(next, 1)-1); err != nil {
			return err
		}
	}
}

// take takes in an entry, which has come just now or was there before.
func (w *Ward) take(e *record.Entry, now bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if written := e.Written.Time(); written.After(w.seen) && !w.reached {
		w.seen = written
	}
	t, ok := e.Body.(record.Transition)
	if !ok || t.Event.Quiet {
		return
	}
	a := w.alerts[t.Event.ID()]
	if a == nil {
		a = &Alert{Alert: view.NewAlert(&t.Event)}
		w.alerts[a.ID] = a
	}
	a.Apply(&t.Event)
	if t.Event.What == alert.Raised {
		a.ReachedAt = nil
		if at := w.now(); now && at.Sub(e.Written.Time()) > lateAfter {
			a.ReachedAt = &at
		}
	}
}

// forget drops what has been over for long.
func (w *Ward) forget() {
	w.mu.Lock()
	defer w.mu.Unlock()
	for id, a := range w.alerts {
		if s := alert.State(a.State); !s.Open() && !s.Aside() && w.now().Sub(a.Since) > keepCleared {
			delete(w.alerts, id)
		}
	}
}
