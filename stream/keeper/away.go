package keeper

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"

	"weald/stream/journal"
	"weald/stream/record"
)

// A record that several machines keep is out of reach while its servers have no majority.
// The loop that judges must not wait for that: after Within it goes on, alerts are told, and
// what was to be kept of them waits here, in its order, until it can be. Each call is made
// again as it was, so that one whose answer was lost is that call and no second one. What
// waits is lost with the process, as are the readings that wait beside it.

// mostLate is how many calls may wait. Of more, alerts are told and not kept.
const mostLate = 10_000

// An away is what waits for a record that is out of reach.
type away struct {
	is    atomic.Bool // the last that was given to it did not get there in time
	mu    sync.Mutex
	calls [][]record.Entry // guarded by mu
}

// bound gives a call of the journal the time that it may take.
func (k *Keeper) bound(ctx context.Context) (context.Context, context.CancelFunc) {
	if k.Within == 0 {
		return ctx, func() {}
	}
	return context.WithTimeoutCause(ctx, k.Within, journal.ErrUnreached)
}

// reached notes whether a call of the journal has got there.
func (k *Keeper) reached(err error) error {
	unreached := errors.Is(err, journal.ErrUnreached)
	if unreached || err == nil {
		k.away.is.Store(unreached)
	}
	if unreached {
		k.mu.Lock()
		defer k.mu.Unlock()
		k.kept = min(k.kept, k.now().Add(-k.Within)) // the call began then at the latest
	}
	return err
}

// behind reports whether a call cannot be kept at once: the record is known to be out of
// reach, or others wait, which come before it.
func (k *Keeper) behind() bool {
	k.away.mu.Lock()
	defer k.away.mu.Unlock()
	return k.away.is.Load() || len(k.away.calls) > 0
}

// waits reports whether something waits for a record that was out of reach when it was
// asked last: Run asks again.
func (k *Keeper) waits() bool {
	k.away.mu.Lock()
	calls := len(k.away.calls)
	k.away.mu.Unlock()
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.away.is.Load() && (calls > 0 || k.pending > 0)
}

// put keeps entries, or lets them wait until they can be, which its error says then:
// journal.ErrLater.
func (k *Keeper) put(entries ...record.Entry) (record.Position, error) {
	if !k.behind() {
		ctx, cancel := k.bound(context.Background())
		defer cancel()
		p, err := k.journal.Append(ctx, entries...)
		if !errors.Is(k.reached(err), journal.ErrUnreached) {
			return p, err
		}
	}
	k.away.mu.Lock()
	defer k.away.mu.Unlock()
	if len(k.away.calls) >= mostLate {
		return 0, journal.ErrUnreached
	}
	k.away.calls = append(k.away.calls, entries)
	return 0, fmt.Errorf("%w; %w", journal.ErrUnreached, journal.ErrLater)
}

// offer keeps an input, or refuses it where it is known that the record is out of reach. Where
// it is not known whether it was kept, it waits to be, as in put.
func (k *Keeper) offer(e record.Entry) (record.Position, error) {
	if k.behind() {
		return 0, fmt.Errorf("%w: %w", journal.ErrUnreached, journal.ErrUnchanged)
	}
	ctx, cancel := k.bound(context.Background())
	defer cancel()
	p, err := k.journal.Append(ctx, e)
	if errors.Is(k.reached(err), journal.ErrUnreached) && !errors.Is(err, journal.ErrUnchanged) {
		k.late([]record.Entry{e})
		err = fmt.Errorf("%w; %w", err, journal.ErrLater)
	}
	return p, err
}

// late lets a call wait of which it is not known whether it was kept.
func (k *Keeper) late(entries []record.Entry) {
	k.away.mu.Lock()
	defer k.away.mu.Unlock()
	k.away.calls = append(k.away.calls, entries)
}

// catchUp keeps what waits, if the record can be reached. The caller holds writing.
func (k *Keeper) catchUp(ctx context.Context) error {
	for {
		k.away.mu.Lock()
		calls := k.away.calls
		k.away.mu.Unlock()
		if len(calls) == 0 {
			return nil
		}
		bound, cancel := k.bound(ctx)
		_, err := k.journal.Append(bound, calls[0]...)
		cancel()
		switch _ = k.reached(err); {
		case errors.Is(err, journal.ErrUnreached), err != nil && ctx.Err() != nil: // what was kept is not to be given again
			return err
		case err != nil && !errors.Is(err, journal.ErrLater):
			k.log.Error("alerts, or what people did, waited and were not kept", slog.Any("error", err), slog.String("do", "make room on the disk"))
		}
		k.away.mu.Lock()
		k.away.calls = k.away.calls[1:]
		k.away.mu.Unlock()
	}
}
