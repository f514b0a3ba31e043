package ingest

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"sync"
	"time"

	"github.com/cenkalti/backoff/v5"

	"weald/ingest/sample"
)

// How a link that was lost is tried again, in real time.
const (
	firstRetry  = 250 * time.Millisecond
	lastRetry   = 30 * time.Second
	retryJitter = 0.2 // so that bridges which fell together do not rise together
)

// tickEvery is how often a Supervisor looks at what does not happen: scans
// whose last part does not come, silence, noise. In real time, or faster where
// the daemon's clock runs faster.
const (
	tickEvery = 250 * time.Millisecond
	tickFloor = 20 * time.Millisecond
)

// How much is read at once: of a message all that there may be, of a stream what
// the scans of a mat are. Each bridge has buffers of its own.
const (
	readMessage = 64 << 10
	readStream  = 8 << 10
)

// graceReal is how long, in real time, a silence must last to be one: where the
// daemon's clock runs fast, seconds of it pass while a busy machine breathes.
const graceReal = 500 * time.Millisecond

// A Supervisor runs one bridge.
type Supervisor struct {
	// Set by New.
	bridge Bridge
	opts   Options
	log    *slog.Logger

	// Owned by the goroutine of Run.
	in      *intake
	tape    *tape // nil where nothing is captured
	retry   *backoff.ExponentialBackOff
	said    string // the kind of trouble that was logged last
	opened  sample.Instant
	lastErr error // of the link; nil once a good frame came

	mu     sync.Mutex
	status Status // guarded by mu; what Status copies
}

// New prepares a bridge and refuses one that makes no sense: two sources with
// one number, no channels, a format that does not exist.
func New(b Bridge, o Options) (*Supervisor, error) {
	if err := b.check(); err != nil {
		return nil, err
	}
	if b.Link == nil {
		return nil, fmt.Errorf("bridge %s has no link", b.ID)
	}
	if o.Speed <= 0 {
		o.Speed = 1
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	in, err := newIntake(&b, timingOf(b.Link), o.Out)
	if err != nil {
		return nil, err
	}
	in.grace = time.Duration(float64(graceReal) * o.Speed)
	in.exam.every = time.Duration(float64(examineEvery) * o.Speed)
	s := &Supervisor{
		bridge: b, opts: o, in: in,
		log: o.Log.With(slog.String("bridge", b.ID), slog.String("link", b.Link.Name())),
		retry: &backoff.ExponentialBackOff{
			InitialInterval: firstRetry, MaxInterval: lastRetry,
			Multiplier: 2, RandomizationFactor: retryJitter,
		},
	}
	s.status = Status{
		Bridge: b.ID, Link: b.Link.Name(), Format: string(b.Format.Kind),
		State: Stopped, Since: sample.Past, NextTry: sample.Never, TroubleSince: sample.Past,
	}
	s.in.publish(&s.status, sample.Past)
	return s, nil
}

// Run keeps the bridge going until ctx ends, or until a finite link has said
// everything; it then returns nil. It is called once.
func (s *Supervisor) Run(ctx context.Context) error {
	s.tape = newTape(s.bridge, s.opts.Now(), s.log)
	defer s.stop()
	for {
		s.enter(Connecting, sample.Never)
		conn, err := s.open(ctx)
		if ctx.Err() != nil {
			if err == nil {
				conn.Close()
			}
			return nil
		}
		if err == nil {
			err = s.converse(ctx, conn)
			if ctx.Err() != nil {
				return nil
			}
			if err == io.EOF && timingOf(s.bridge.Link) != asSent {
				s.in.close()
				s.lastErr = nil
				s.enter(Ended, sample.Never)
				return nil
			}
		}
		s.lost(err)
		if !s.pause(ctx) {
			return nil
		}
	}
}

// open opens the link, which takes as long as it takes: a link that waits to be
// called may never return. What does not happen meanwhile is looked at as ever.
func (s *Supervisor) open(ctx context.Context) (io.ReadCloser, error) {
	type opened struct {
		conn io.ReadCloser
		err  error
	}
	done := make(chan opened, 1)
	go func() {
		conn, err := s.bridge.Link.Open(ctx)
		done <- opened{conn, err}
	}()
	tick := time.NewTicker(s.tick())
	defer tick.Stop()
	for {
		select {
		case o := <-done:
			return o.conn, o.err
		case <-tick.C:
			s.look()
		}
	}
}

// Status returns what is known at present.
func (s *Supervisor) Status() Status {
	s.mu.Lock()
	c := s.status.clone()
	s.mu.Unlock()
	if c.State == Connecting && c.Trouble == "" {
		c.await(s.opts.Now(), max(silentAfter, s.in.grace))
	}
	return c
}

// enter tells of a new state of the link.
func (s *Supervisor) enter(state LinkState, nextTry sample.Instant) {
	now := s.opts.Now()
	s.mu.Lock()
	if s.status.State != state {
		s.status.State, s.status.Since = state, now
	}
	s.status.NextTry = nextTry
	if state == Open {
		s.status.Opened++
	}
	s.mu.Unlock()
	s.publish(now)
}

// publish copies what the intake knows, and what is wrong, to where Status
// finds it.
func (s *Supervisor) publish(now sample.Instant) {
	s.mu.Lock()
	s.in.publish(&s.status, now)
	s.tape.publish(&s.status.Capture)
	trouble := s.trouble(now)
	// One trouble that gives way to another is one time of trouble.
	switch {
	case trouble.words == "":
		s.status.TroubleSince = sample.Past
	case s.status.Trouble == "":
		s.status.TroubleSince = now
	}
	s.status.Trouble = trouble.words
	state := s.status.State
	s.mu.Unlock()
	s.say(state, trouble)
}

// lost remembers why there is no connection.
func (s *Supervisor) lost(err error) {
	if err == io.EOF {
		err = fmt.Errorf("%s: the other side ended the connection", s.bridge.Link.Name())
	}
	s.lastErr = err
}

// pause waits until it is time to try the link again. It reports whether ctx
// still runs.
func (s *Supervisor) pause(ctx context.Context) bool {
	wait := min(s.retry.NextBackOff(), lastRetry)
	next := s.opts.Now().Add(time.Duration(float64(wait) * s.opts.Speed))
	s.enter(Waiting, next)
	timer := time.NewTimer(wait)
	defer timer.Stop()
	tick := time.NewTicker(s.tick())
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return false
		case <-timer.C:
			return true
		case <-tick.C:
			s.look()
		}
	}
}

// look is what a tick does.
func (s *Supervisor) look() {
	now := s.opts.Now()
	by := now
	if s.in.timing == asRecorded {
		by = s.in.arrival
	}
	s.in.flush(by, now)
	s.tape.tick(now)
	s.publish(now)
}

// tick is how long a real tick lasts.
func (s *Supervisor) tick() time.Duration {
	return max(time.Duration(float64(tickEvery)/s.opts.Speed), tickFloor)
}

// stop says goodbye. A recording that was played to its end stays Ended.
func (s *Supervisor) stop() {
	s.tape.close()
	if s.status.State == Ended {
		s.enter(Ended, sample.Never)
		return
	}
	s.enter(Stopped, sample.Never)
}
