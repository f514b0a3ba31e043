// Package hostclock is the daemon's clock: it starts at the wall clock's time
// and from then on follows the monotonic clock, times a speed.
//
// The wall clock of the host may step (a time server corrects it, somebody sets
// it, the machine wakes up from sleep); nothing that counts durations may step
// with it, so this clock does not. It notices instead: Off says how far the two
// have come apart, and Watch reports when a step happens. Instants are then off
// by that much until the daemon is started again, which is said to people
// rather than mended under the feet of holds that are running.
package hostclock

import (
	"context"
	"time"

	"weald/ingest/sample"
)

// A Timer fires once for every Reset, on its channel. Stop and Reset discard a
// firing that has not been received yet.
type Timer interface {
	C() <-chan time.Time
	Reset(d time.Duration)
	Stop()
}

// A Clock runs at a constant speed from the instant it was made. It may be used
// from any goroutine.
type Clock struct {
	start time.Time      // with its monotonic reading
	wall  sample.Instant // what the clock showed at start
	host  sample.Instant // from where Off is counted
	speed float64

	readWall func() sample.Instant // the host's wall clock now
}

// New returns a clock that shows the host's time now and runs speed times as
// fast. It panics if speed is not above 0.
func New(speed float64) *Clock { return NewAfter(speed, sample.Past) }

// NewAfter is New, but the clock shows nothing earlier than the given instant,
// which is the last one of a former run. A host whose clock has been set back in
// between would else stamp everything as older than what was judged already, and
// nothing would be judged until it had caught up. Off says how far behind it is.
func NewAfter(speed float64, after sample.Instant) *Clock {
	if !(speed > 0) {
		panic("hostclock: a clock must run forward")
	}
	now := time.Now()
	wall := max(sample.At(now), after)
	host := wall
	if speed != 1 {
		host = sample.At(now) // a former run was ahead of the host's time by design
	}
	return &Clock{
		start:    now,
		wall:     wall,
		host:     host,
		speed:    speed,
		readWall: func() sample.Instant { return sample.At(time.Now()) },
	}
}

// Now returns the clock's instant. It never runs backwards.
func (c *Clock) Now() sample.Instant {
	return c.wall.Add(c.scale(time.Since(c.start)))
}

// Speed is how many times faster than the host this clock runs.
func (c *Clock) Speed() float64 { return c.speed }

// NewTimer returns a timer, not yet running, for durations of this clock.
func (c *Clock) NewTimer() Timer {
	t := time.NewTimer(time.Hour)
	t.Stop()
	return &hostTimer{clock: c, timer: t}
}

// scale turns a duration of the host into one of this clock.
func (c *Clock) scale(d time.Duration) time.Duration {
	if c.speed == 1 {
		return d
	}
	return time.Duration(float64(d) * c.speed)
}

// Off returns how far the host's wall clock is ahead of where the monotonic
// clock says it should be. It does not depend on the speed.
func (c *Clock) Off() time.Duration {
	return c.readWall().Sub(c.host.Add(time.Since(c.start)))
}

// StepLimit is how far the wall clock may drift between two looks of Watch
// before it counts as a step. Time servers that slew stay far below it.
const StepLimit = 2 * time.Second

// Watch looks at the wall clock every so often (in host time) and calls stepped
// with the size of each step and with the whole distance since the start, until
// ctx ends. It returns the cause of that end.
func (c *Clock) Watch(ctx context.Context, every time.Duration, stepped func(by, off time.Duration)) error {
	ticker := time.NewTicker(every)
	defer ticker.Stop()
	last := c.Off()
	for {
		select {
		case <-ctx.Done():
			return context.Cause(ctx)
		case <-ticker.C:
			off := c.Off()
			if by := off - last; by > StepLimit || by < -StepLimit {
				stepped(by, off)
			}
			last = off
		}
	}
}

type hostTimer struct {
	clock *Clock
	timer *time.Timer
}

func (t *hostTimer) C() <-chan time.Time { return t.timer.C }

func (t *hostTimer) Reset(d time.Duration) {
	if t.clock.speed != 1 {
		// Rounded up, so that a timer never fires before its instant.
		d = time.Duration(float64(d)/t.clock.speed) + 1
	}
	t.timer.Reset(d)
}

func (t *hostTimer) Stop() { t.timer.Stop() }
