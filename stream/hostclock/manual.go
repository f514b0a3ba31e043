package hostclock

import (
	"sync"
	"time"

	"weald/ingest/sample"
)

// A Manual clock stands still until it is told to advance. It is for tests and
// for playing recordings without waiting; it may be used from any goroutine.
type Manual struct {
	mu     sync.Mutex
	now    sample.Instant // guarded by mu
	timers []*manualTimer // guarded by mu
}

// NewManual returns a clock that shows now.
func NewManual(now sample.Instant) *Manual { return &Manual{now: now} }

// Now returns the instant that the clock was last set to.
func (m *Manual) Now() sample.Instant {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.now
}

// Speed is always 1.
func (m *Manual) Speed() float64 { return 1 }

// Advance moves the clock by d, which must not be negative, and fires the
// timers that are then due.
func (m *Manual) Advance(d time.Duration) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.now = m.now.Add(d)
	for _, t := range m.timers {
		t.fireLocked()
	}
}

// NewTimer returns a timer, not yet running.
func (m *Manual) NewTimer() Timer {
	m.mu.Lock()
	defer m.mu.Unlock()
	t := &manualTimer{clock: m, c: make(chan time.Time, 1), due: sample.Never}
	m.timers = append(m.timers, t)
	return t
}

type manualTimer struct {
	clock *Manual
	c     chan time.Time
	due   sample.Instant // guarded by clock.mu; Never while stopped
}

func (t *manualTimer) C() <-chan time.Time { return t.c }

func (t *manualTimer) Reset(d time.Duration) {
	t.clock.mu.Lock()
	defer t.clock.mu.Unlock()
	t.discardLocked()
	t.due = t.clock.now.Add(max(0, d))
	t.fireLocked()
}

func (t *manualTimer) Stop() {
	t.clock.mu.Lock()
	defer t.clock.mu.Unlock()
	t.discardLocked()
	t.due = sample.Never
}

func (t *manualTimer) discardLocked() {
	select {
	case <-t.c:
	default:
	}
}

func (t *manualTimer) fireLocked() {
	if t.due <= t.clock.now {
		t.due = sample.Never
		t.c <- t.clock.now.Time() // never full: Reset and Stop empty it
	}
}
