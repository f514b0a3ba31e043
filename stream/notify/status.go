package notify

import (
	"weald/ingest/sample"
	"weald/rules/alert"
)

// A Status is how a sender fares.
type Status struct {
	Totals
	ID      string
	Waiting int
	Oldest  sample.Instant // since when the oldest has waited; 0 if none does
	Broken  bool           // an alert says so
	Trouble string         // why the last attempt failed; "" if it did not
	Since   sample.Instant // of Trouble
	Next    sample.Instant // when it is tried again; 0 if nothing waits
	Test    sample.Instant // when the newest test was queued; 0 for never
	Calls   []Called       // of what calls it now
}

// Status returns how a sender fares.
func (d *Desk) Status(i int) Status {
	b := &d.boxes[i]
	s := Status{Totals: b.Totals, ID: d.specs[i].ID, Waiting: len(b.waiting), Broken: b.broken, Trouble: b.why, Test: d.tests[i], Calls: d.Calls(i)}
	if b.failed > 0 {
		s.Since = b.since
	}
	if len(b.waiting) > 0 {
		s.Oldest = b.waiting[0].Queued
		s.Next = b.waiting[0].next
		for _, m := range b.waiting {
			s.Next = min(s.Next, m.next)
		}
		s.Next = max(s.Next, b.pause)
	}
	return s
}

// Level returns the highest priority of what calls a sender now; 0 if nothing does.
func (d *Desk) Level(i int, now sample.Instant) (p alert.Priority) {
	local := now.Time().In(d.zone)
	for _, s := range d.alerts {
		if s.call != 0 && d.specs[i].covers(&s.calls, local) {
			p = max(p, s.calls.Priority)
		}
	}
	return p
}

// Pauses reports whether a sender waits after a failure.
func (d *Desk) Pauses(i int, now sample.Instant) bool { return now < d.boxes[i].pause }
