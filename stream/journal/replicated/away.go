package replicated

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"weald/stream/journal"
)

// Who waits for servers that are gone often holds what others wait for: a lock, a page. So no
// call waits for longer than Options.Within; and while servers are known to be gone one after the
// other finds out whether that is still so, and all others are refused before anything of them is
// sent. A call that is made again is never refused so: what became of it is to be found out.

// askEvery is how soon after a call that was in vain another one is let through.
const askEvery = time.Second

// An away is whether servers are gone.
type away struct {
	mu     sync.Mutex
	is     bool      // a call has waited in vain, and none has got there since; guarded by mu, as is all below
	asks   int       // calls that wait for them
	vainly time.Time // when the last of those ended
}

// withinOf is how long a call may take; 0 for as long as it takes, as a claim may: nobody else
// waits for that.
func (j *Journal) withinOf(c *call) time.Duration {
	if c.empty() {
		return 0
	}
	return j.options.Within
}

// bound begins a call that may take so long, or refuses it; tried has to be told what became of it.
func (a *away) bound(ctx context.Context, within time.Duration, again bool) (_ context.Context, tried func(error), err error) {
	if within == 0 {
		return ctx, func(error) {}, nil
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.is && !again && (a.asks > 0 || time.Since(a.vainly) < askEvery) {
		return nil, nil, fmt.Errorf("%w: %w", journal.ErrUnreached, journal.ErrUnchanged)
	}
	a.asks++
	began := time.Now()
	ctx, cancel := context.WithTimeoutCause(ctx, within, journal.ErrUnreached)
	return ctx, func(err error) {
		got := err == nil || ctx.Err() == nil // or whoever asked has gone
		cancel()
		a.mu.Lock()
		defer a.mu.Unlock()
		a.asks--
		switch now := time.Now(); {
		case got:
			a.is = false
		case errors.Is(err, journal.ErrUnreached) && (a.is || now.Sub(began) >= within/2): // who waits for less says little: servers may agree on a leader
			a.is, a.vainly = true, now
		}
	}, nil
}
