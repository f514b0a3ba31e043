package audit

import (
	"context"
	"sync"
	"time"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/journal/backlog"
	"weald/stream/record"
)

// A look by the same viewer at the same thing is noted once in this time, so that a
// wall screen does not fill the record: four an hour.
const viewedOnce = 15 * time.Minute

// mostLooks is how many looks wait to be kept at most, and mostRemembered how many
// viewers and things are told apart: whoever makes more than that in a quarter of an
// hour, as a scan of all addresses could, is told by a count.
const (
	mostLooks      = 1024
	mostRemembered = 1 << 16
)

// Views notes who saw what. Saw takes no time: what it tells is kept by Run, on
// another goroutine, so that no page waits for a disk. The last second of it can be
// lost with the power; what people do cannot.
type Views struct {
	now func() sample.Instant

	late  backlog.Queue // what is being kept, in one call; Run's own, as is the next
	stand int           // how many looks that stands for, with those that are only counted

	mu     sync.Mutex
	seen   map[look]sample.Instant // when it was last noted; guarded by mu, as is all below
	queue  []record.Deed
	missed int
	wake   chan struct{} // holds one token at most
}

// A look is who saw what, but for when.
type look = record.Deed

// NewViews returns one that keeps in log.
func NewViews(log journal.Log, now func() sample.Instant) *Views {
	return &Views{late: backlog.Queue{Log: log}, now: now, seen: map[look]sample.Instant{}, wake: make(chan struct{}, 1)}
}

// Saw says that somebody has seen something; when that was, Views knows itself.
func (v *Views) Saw(l record.Deed) {
	now := v.now()
	v.mu.Lock()
	defer v.mu.Unlock()
	l.At, l.Written = 0, 0
	if at, ok := v.seen[l]; ok && now.Sub(at) < viewedOnce {
		return
	}
	if len(v.seen) >= mostRemembered {
		v.forget(now)
	}
	if len(v.queue) >= mostLooks || len(v.seen) >= mostRemembered {
		v.missed++
		return
	}
	v.seen[l] = now
	v.enqueue(l, now)
}

// Did is Saw for what is noted each time, such as an export.
func (v *Views) Did(d record.Deed) {
	now := v.now()
	v.mu.Lock()
	defer v.mu.Unlock()
	if len(v.queue) >= mostLooks {
		v.missed++
		return
	}
	v.enqueue(d, now)
}

// enqueue hands a deed to Run. The caller holds mu.
func (v *Views) enqueue(d record.Deed, now sample.Instant) {
	d.At, d.Written = now, now
	v.queue = append(v.queue, d)
	select {
	case v.wake <- struct{}{}:
	default:
	}
}

// forget forgets looks that are to be noted again anyway. The caller holds mu.
func (v *Views) forget(now sample.Instant) {
	for l, at := range v.seen {
		if now.Sub(at) >= viewedOnce {
			delete(v.seen, l)
		}
	}
}

// Run keeps what was seen until ctx ends, and then what is left. What cannot be kept
// is counted with what came too fast; while the record is out of reach it waits.
func (v *Views) Run(ctx context.Context) error {
	for {
		var again <-chan time.Time
		if n, _ := v.late.Waits(); n > 0 {
			again = time.After(lateAgain)
		}
		select {
		case <-v.wake:
		case <-again:
		case <-ctx.Done():
			last, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Second)
			defer cancel()
			v.keep(last)
			return context.Cause(ctx)
		}
		v.keep(ctx)
	}
}

// lateAgain is how soon what waits is tried again.
const lateAgain = time.Second

// keep keeps what was seen, until ctx ends or the record is out of reach or has no room: at the
// end of the daemon once more.
func (v *Views) keep(ctx context.Context) {
	refused := false
	for v.late.Drain(ctx, func(error) { refused = true; v.miss(v.stand) }) == nil && !refused && v.take() {
	}
}

// miss counts looks that are not kept.
func (v *Views) miss(looks int) {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.missed += looks
}

// take makes one call of all that was seen meanwhile; false for nothing. What is seen while that
// waits is in the next one: the queue never has more than one, so that it always has room.
func (v *Views) take() bool {
	v.mu.Lock()
	queue, missed := v.queue, v.missed
	v.queue, v.missed = nil, 0
	v.mu.Unlock()
	v.stand = len(queue) + missed
	if missed > 0 {
		now := v.now()
		queue = append(queue, record.Deed{At: now, Written: now, What: Unseen, Subject: count(uint64(missed))})
	}
	if len(queue) == 0 {
		return false
	}
	links := make([]record.Entry, len(queue))
	for i := range queue {
		links[i] = queue[i].Entry(salt)
	}
	return v.late.Push(links...)
}
