package archive

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"sync/atomic"
	"time"

	"weald/ingest/sample"
	"weald/stream/history"
	"weald/stream/hostclock"
	"weald/stream/journal"
	"weald/stream/record"
)

// every is how often seconds are kept. The memory forgets none for an hour that are
// not, so that a journal that takes nothing for a while costs nothing.
const every = time.Minute

// A Clock is that of the daemon.
type Clock interface {
	Now() sample.Instant
	NewTimer() hostclock.Timer
}

// An Archivist keeps what the memory has before it forgets it.
type Archivist struct {
	memory  *history.Store
	journal journal.History
	clock   Clock
	log     *slog.Logger

	trouble atomic.Pointer[error] // of the last round; nil if that went well

	// Owned by whoever runs Run or, after that, Finish.
	places  []archived
	failing bool
}

// Trouble returns why history is not kept at present, nil if it is. Any
// goroutine may ask.
func (a *Archivist) Trouble() error {
	if err := a.trouble.Load(); err != nil {
		return *err
	}
	return nil
}

// archived is how far the archive of a place has come.
type archived struct {
	id      string
	series  []cursor
	reached sample.Instant // event time of the newest second of any series; Past before the first
}

// A cursor is how far the archive of a series has come.
type cursor struct {
	name  string
	lasts time.Duration

	open  sample.Instant // the second that was being filled at the last look; all before it are kept
	since sample.Instant // when open moved last, on the daemon's clock
	tail  bool           // what the last value adds to that second and after is kept
	hours []sample.Instant
}

// New returns an Archivist of the places with the given ids, in the order of the
// memory.
func New(memory *history.Store, ids []string, j journal.History, clock Clock, log *slog.Logger) *Archivist {
	a := &Archivist{memory: memory, journal: j, clock: clock, log: log, places: make([]archived, len(ids))}
	for i, id := range ids {
		p := archived{id: id, reached: sample.Past}
		for _, s := range memory.Series(i) {
			p.series = append(p.series, cursor{name: s.Name, lasts: s.Lasts, open: sample.Past})
		}
		a.places[i] = p
	}
	return a
}

// Run keeps what was finished, once a minute, until ctx ends, and returns the
// cause of that. What cannot be kept is tried again.
func (a *Archivist) Run(ctx context.Context) error {
	timer := a.clock.NewTimer()
	defer timer.Stop()
	for {
		timer.Reset(every)
		select {
		case <-ctx.Done():
			return context.Cause(ctx)
		case <-timer.C():
		}
		a.attempt(ctx)
	}
}

// attempt keeps what was finished and takes note of how that went.
func (a *Archivist) attempt(ctx context.Context) {
	err := a.round(ctx, false)
	if ctx.Err() != nil {
		return
	}
	if err != nil {
		a.trouble.Store(&err)
	} else {
		a.trouble.Store(nil)
	}
	if failing := err != nil; failing != a.failing {
		a.failing = failing
		if failing {
			a.log.Warn("history is not kept", slog.Any("error", err), slog.String("do", "make room on the disk, or see that a majority of the servers of the log runs and can be reached; what is in memory is kept as soon as it can be"))
		} else {
			a.log.Info("history is kept again")
		}
	}
}

// Finish keeps all that the memory has, the second that is not finished too. Run
// must have returned.
func (a *Archivist) Finish(ctx context.Context) error { return a.round(ctx, true) }

func (a *Archivist) round(ctx context.Context, last bool) error {
	for i := range a.places {
		if err := a.keep(ctx, i, last); err != nil {
			return fmt.Errorf("history of %s: %w", a.places[i].id, err)
		}
		if err := a.sumUp(ctx, &a.places[i], last); err != nil {
			return fmt.Errorf("history of %s: %w", a.places[i].id, err)
		}
	}
	return nil
}

// keep keeps the new seconds of a place. Its cursors move only when they are
// kept.
func (a *Archivist) keep(ctx context.Context, place int, last bool) error {
	p := &a.places[place]
	now := a.clock.Now()
	moved := slices.Clone(p.series)
	reached := p.reached
	var out []record.Stretch
	for k := range moved {
		c := &moved[k]
		points, open := a.memory.Seconds(place, k, c.open, nil)
		if open == sample.Past {
			continue
		}
		if open != c.open {
			c.open, c.since, c.tail = open, now, false
		}
		reached = max(reached, open)
		switch {
		case c.tail:
		case last:
			points = a.memory.Tail(place, k, sample.Past, points)
		case now.Sub(c.since) >= c.lasts+every: // silent
			points = a.memory.Tail(place, k, open.Add(c.lasts+time.Second), points)
			c.tail = true
		}
		if len(points) == 0 {
			continue
		}
		out = append(out, record.Stretch{Place: p.id, Series: c.name, Tier: record.Second, Points: points})
		c.dirty(points)
	}
	if err := a.journal.PutHistory(ctx, out...); err != nil {
		return err
	}
	p.series, p.reached = moved, reached
	a.memory.Kept(place, p.kept())
	return nil
}

// kept is before when all seconds of a place are kept.
func (p *archived) kept() sample.Instant {
	before := p.reached
	for k := range p.series {
		if c := &p.series[k]; !c.tail && c.open != sample.Past {
			before = min(before, c.open)
		}
	}
	return before
}

// dirty notes the hours of points as to be summed up.
func (c *cursor) dirty(points []record.Point) {
	c.hours = slices.Clone(c.hours)
	for i := range points {
		if h := floor(points[i].At, hour); !slices.Contains(c.hours, h) {
			c.hours = append(c.hours, h)
		}
	}
}

// sumUp sums up the hours that the place's clock has passed, or with last all of
// which something is new.
func (a *Archivist) sumUp(ctx context.Context, p *archived, last bool) error {
	var out []record.Stretch
	left := make([][]sample.Instant, len(p.series))
	for k := range p.series {
		for _, h := range p.series[k].hours {
			if !last && h+hour > p.reached {
				left[k] = append(left[k], h)
				continue
			}
			more, err := rollUp(ctx, a.journal, p.id, p.series[k].name, h)
			if err != nil {
				return err
			}
			out = append(out, more...)
		}
	}
	if err := a.journal.PutHistory(ctx, out...); err != nil {
		return err
	}
	for k := range left {
		p.series[k].hours = left[k]
	}
	return nil
}
