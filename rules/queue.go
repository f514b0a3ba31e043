package rules

import (
	"time"

	"weald/ingest/sample"
)

// patience is how long a scan waits for older ones of the place's other
// sources, on the host's clock. It is part of the 250 ms that an alert may be
// late.
const patience = 200 * time.Millisecond

// A queue puts the scans of several sources into one order.
//
// Sources deliver with different delays. Taken as they arrive, those of the
// slower one would all be older than what has been evaluated, and so late. A
// scan therefore waits until every other source of the place that is not
// silent has delivered something as new, but never longer than patience.
// Places with one source have no use for it.
type queue struct {
	waiting []*sample.Scan // by At; equal ones in order of arrival
	free    []*sample.Scan
}

// put keeps a copy of s.
func (q *queue) put(s *sample.Scan) {
	kept := &sample.Scan{}
	if n := len(q.free); n > 0 {
		kept, q.free = q.free[n-1], q.free[:n-1]
	}
	kept.Set(s)
	i := len(q.waiting)
	q.waiting = append(q.waiting, kept)
	for ; i > 0 && q.waiting[i-1].At > kept.At; i-- {
		q.waiting[i] = q.waiting[i-1]
	}
	q.waiting[i] = kept
}

// take removes and returns the oldest scan. It must be given back with done.
func (q *queue) take() *sample.Scan {
	s := q.waiting[0]
	q.waiting = append(q.waiting[:0], q.waiting[1:]...)
	return s
}

func (q *queue) done(s *sample.Scan) { q.free = append(q.free, s) }

// deadline returns when the first scan will have waited long enough.
func (q *queue) deadline() sample.Instant {
	first := sample.Never
	for _, s := range q.waiting {
		first = min(first, s.Arrived.Add(patience))
	}
	return first
}

// accept takes a scan that arrived just now.
func (p *place) accept(s *sample.Scan) {
	if len(p.feeds) == 1 {
		p.evaluate(s)
		return
	}
	f := &p.feeds[p.feedOf(s.Source)]
	p.drain(s.Arrived) // what had waited long enough by then has had its turn
	f.newest = max(f.newest, s.At)
	p.queue.put(s)
	p.drain(s.Arrived)
}

// drain evaluates what need not wait any longer at now on the host's clock.
func (p *place) drain(now sample.Instant) {
	for len(p.queue.waiting) > 0 {
		oldest := p.queue.waiting[0]
		if !p.complete(oldest) && p.queue.deadline() > now {
			return
		}
		p.evaluate(p.queue.take())
		p.queue.done(oldest)
	}
}

// release evaluates what waits of instants up to one that time is about to pass to: it
// would be late afterwards, although it is there.
func (p *place) release(to sample.Instant) {
	for len(p.queue.waiting) > 0 && p.queue.waiting[0].At <= to {
		s := p.queue.take()
		p.evaluate(s)
		p.queue.done(s)
	}
}

// complete reports whether no other source of the place is expected to deliver
// anything older than s.
func (p *place) complete(s *sample.Scan) bool {
	for i := range p.feeds {
		f := &p.feeds[i]
		silent := f.newest == sample.Past || f.newest.Add(p.sources[f.source].StaleAfter) < s.At
		if f.source != s.Source && !silent && f.newest < s.At {
			return false
		}
	}
	return true
}
