package pipeline

import (
	"context"
	"time"

	"weald/ingest/sample"
)

// pause is how long the loop waits at least, in host time, for an engine that
// goes on asking for an instant that has passed. An engine that does has a bug;
// it must not cost a processor.
const pause = 10 * time.Millisecond

// Run is the loop. It starts no goroutine and leaves none behind; it returns
// the cause of ctx's end, or nil when it has handed over.
func (p *Pipeline) Run(ctx context.Context) error {
	defer close(p.done)
	timer := p.clock.NewTimer()
	defer timer.Stop()
	armed := sample.Never
	p.settle()
	for {
		if wake := p.tick(); wake != armed {
			armed = wake
			if wake == sample.Never {
				timer.Stop()
			} else {
				timer.Reset(wake.Sub(p.clock.Now()))
			}
		}
		select {
		case s := <-p.in:
			p.take(s)
		case f := <-p.asks:
			if f(p.state); p.over.Load() {
				return nil
			}
		case <-timer.C():
			armed = sample.Never
		case <-p.until:
			p.until = nil
		case <-ctx.Done():
			return context.Cause(ctx)
		}
	}
}

// tick lets the engine see the time where it asked for it, and returns when it
// wants to see it next, on the daemon's clock. Scans that already wait go first:
// what was felt before an instant must have its say about it.
func (p *Pipeline) tick() sample.Instant {
	if p.until != nil {
		return sample.Never // what is late for the clock is not late for its place
	}
	now := p.clock.Now()
	next := p.state.agenda.first()
	if next > now {
		return next
	}
	for n := len(p.in); n > 0; n-- {
		p.take(<-p.in)
	}
	p.state.tick(now, func(place int, now sample.Instant) {
		p.record(func(r Recorder, ord uint64) { r.Tick(ord, place, now) })
		p.state.judge.TickPlace(place, now)
		p.settle()
	})
	if next = p.state.agenda.first(); next <= now {
		return now.Add(time.Duration(float64(pause) * p.clock.Speed()))
	}
	return next
}

func (p *Pipeline) take(w *waiting) {
	p.scans.Add(1)
	p.behind.Store(int64(p.clock.Now().Sub(w.since)))
	p.applied.Convert(&w.scan)
	if len(p.watches) > 0 {
		p.look(&w.scan)
	}
	p.state.heard(w)
	p.record(func(r Recorder, ord uint64) { r.Scan(ord, &w.scan) })
	p.state.judge.Scan(&w.scan)
	for _, place := range p.state.bySource[w.scan.Source] {
		p.state.expect(place)
	}
	p.settle()
	if w.taken != nil {
		close(w.taken)
	}
	p.rooms.Put(w)
	p.free <- struct{}{}
}
