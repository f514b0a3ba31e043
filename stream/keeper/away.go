package keeper

import (
	"context"
	"errors"
	"log/slog"

	"weald/stream/journal"
	"weald/stream/journal/backlog"
	"weald/stream/record"
)

// A record that several machines keep is out of reach while its servers have no majority.
// The loop that judges must not wait for that: after Within it goes on, alerts are told, and
// what was to be kept of them waits in a backlog.Queue until it can be. Alerts that find no room
// there are told and not kept.
//
// Readings wait beside it, and not in it: of them the oldest are given up and not the newest,
// what waits grows with what comes, and their ordinals make a call that was made again, with
// more in it, the same one. Whether the record is out of reach is known here, and not there,
// as readings and snapshots find that out too.

// mostStanding is how many bytes may wait before what waits says no more how places stand, so
// that changes of alerts, which are small, find room long after.
const mostStanding = backlog.DefaultBytes / 2

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
		k.away.Store(unreached)
	}
	if unreached {
		k.mu.Lock()
		defer k.mu.Unlock()
		k.kept = min(k.kept, k.now().Add(-k.Within)) // the call began then at the latest
	}
	return err
}

// An asked is the journal of a keeper as its queue asks it: for a while, and noting whether it
// is out of reach.
type asked struct{ *Keeper }

// Append implements backlog.Log.
func (a asked) Append(ctx context.Context, entries ...record.Entry) (record.Position, error) {
	ctx, cancel := a.bound(ctx)
	defer cancel()
	p, err := a.journal.Append(ctx, entries...)
	return p, a.reached(err)
}

// behind reports whether nothing can be kept at once: the record is known to be out of reach, or
// others wait, which come before it.
func (k *Keeper) behind() bool {
	calls, _ := k.late.Waits()
	return calls > 0 || k.away.Load()
}

// waits reports whether something waits for a record that was out of reach when it was
// asked last: Run asks again.
func (k *Keeper) waits() bool {
	calls, _ := k.late.Waits()
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.away.Load() && (calls > 0 || k.pending > 0)
}

// put keeps entries, or lets them wait until they can be, which its error says then:
// journal.ErrLater.
func (k *Keeper) put(entries ...record.Entry) (record.Position, error) {
	return k.late.Append(context.Background(), entries...)
}

// catchUp keeps what waits, if the record can be reached. The caller holds writing.
func (k *Keeper) catchUp(ctx context.Context) error {
	return k.late.Drain(ctx, func(err error) {
		k.log.Error("alerts, or what people did, waited and were not kept", slog.Any("error", err), slog.String("do", "make room on the disk"))
	})
}
