package keeper

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"weald/ingest/sample"
	"weald/rules/hold"
	"weald/stream/journal"
	"weald/stream/record"
)

// A Source of snapshots runs f with the engine's state at one moment: the ordinal of
// its last input, the number of places, and what appends the state of one.
type Source func(ctx context.Context, f func(ord uint64, places int, state func(place int, b []byte) []byte)) error

// Run writes readings once a second, and a snapshot once a minute of the daemon's
// clock, which may run fast, until ctx ends, and then everything that is left.
// It returns the cause of ctx's end, or an error after which nothing can be kept
// any more.
func (k *Keeper) Run(ctx context.Context, state Source) error {
	ticker := time.NewTicker(readingsEvery)
	defer ticker.Stop()
	snapped, doubt := k.now(), false
	for {
		select {
		case <-ticker.C:
		case <-ctx.Done():
			last, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
			defer cancel()
			k.note(last, k.write(last))
			return context.Cause(ctx)
		}
		err := k.write(ctx)
		if err == nil && !k.waits() {
			k.away.Store(false) // as far as anybody knows: nothing waits, and so nothing asks again
		}
		holed := k.note(ctx, err) // what comes after a hole would not be judged as it was
		if errors.Is(err, journal.ErrBroken) || errors.Is(err, journal.ErrClosed) {
			return err
		}
		if err == nil && (holed || k.now().Sub(snapped) >= snapshotsEvery) {
			snapped = k.now()
			if err = k.Snapshot(ctx, state); err != nil && ctx.Err() == nil {
				k.log.Warn("no snapshot of the rules was kept, so that the next start takes longer", slog.Any("error", err),
					slog.String("do", "it is tried again in a minute; if that lasts, make room on the disk"))
			}
			doubt = err != nil
		}
		if err == nil && !doubt {
			k.pass()
		}
	}
}

// pass says that all that waited is on the disk.
func (k *Keeper) pass() {
	k.mu.Lock()
	defer k.mu.Unlock()
	close(k.passed)
	k.passed = make(chan struct{})
}

// Written returns nil when Run has, after the call, come to where all that waited is on
// the disk, which it does once a second. Where nothing comes, the snapshot of each minute is what proves the disk:
// after one that was not kept nothing counts until another is. Its error is that of
// ctx's end, with what is wrong with the record if that is known.
func (k *Keeper) Written(ctx context.Context) error {
	k.mu.Lock()
	passed := k.passed
	k.mu.Unlock()
	select {
	case <-passed:
		return nil
	case <-ctx.Done():
	}
	if t := k.Condition().Trouble; t != "" {
		return fmt.Errorf("the record: %s", t)
	}
	return fmt.Errorf("the record is not written: %w", context.Cause(ctx))
}

// Snapshot keeps the state of the engine now.
func (k *Keeper) Snapshot(ctx context.Context, state Source) error {
	s := record.Snapshot{At: k.now(), Config: k.config}
	if err := state(ctx, func(ord uint64, places int, state func(int, []byte) []byte) {
		s.Ord, s.Body = ord, k.pack(places, state)
	}); err != nil || s.Ord == 0 {
		return err
	}
	if err := k.write(ctx); err != nil { // a snapshot must not be ahead of its inputs
		return err
	}
	return k.putSnapshot(ctx, s)
}

// putSnapshot keeps a snapshot, which may still be kept after the time for it is over: it
// stays true.
func (k *Keeper) putSnapshot(ctx context.Context, s record.Snapshot) error {
	ctx, cancel := k.bound(ctx)
	defer cancel()
	return k.reached(k.journal.PutSnapshot(ctx, s))
}

// note says when readings stop being kept, and when they are kept again; each
// is an entry of the record too, for which a full disk has a reserve, and a change
// of an alert that is not one of the rules, and is not judged again. It reports
// whether the record has a hole now that it had not.
func (k *Keeper) note(ctx context.Context, err error) (holed bool) {
	now := k.now()
	failed := err != nil && !errors.Is(err, context.Canceled)
	k.mu.Lock()
	changed := failed != k.failing
	k.failing = failed
	k.trouble = ""
	switch {
	case !failed:
		k.kept = sample.Never
	case !errors.Is(err, journal.ErrLater): // or the log has it all the same
		k.kept = min(k.kept, now.Add(-k.Within))
	}
	if failed {
		k.trouble = "readings are not kept: " + plain(err)
		if n := k.gone.scans; n > 0 {
			k.trouble += fmt.Sprintf("; %d scans are lost so far", n)
		}
	}
	text, since := k.trouble, k.failed
	var gone loss
	if !failed {
		gone, k.gone = k.gone, loss{}
	}
	if changed && failed {
		k.failed = now
	}
	k.mu.Unlock()
	switch {
	case changed && failed:
		k.log.Warn("readings are not kept", slog.Any("error", err), slog.String("do", "make room on the disk: alerts are kept for a while, and readings again as soon as there is some; where it is the servers of the log, see that a majority of them runs and can be reached"))
		if k.slow.hold.Raised { // it is another fault now
			k.again(ctx, now, k.slow.since, &k.slow.lost, "the disk was too slow, and now takes none")
			k.slow = slowness{}
		}
		k.fault(ctx, record.Fault{Text: text}, now, 0)
	case changed:
		k.again(ctx, now, since, &gone, "readings are kept again")
	case !failed:
		k.noteSlow(ctx, now, gone)
	}
	k.slow.last = now
	return gone.scans > 0
}

// noteSlow does so of a disk that fails no writing, and may be too slow for all of it.
func (k *Keeper) noteSlow(ctx context.Context, now sample.Instant, gone loss) {
	switch k.slow.pass(now, gone) {
	case hold.Raised:
		k.log.Warn("readings were not kept", slog.String("error", gone.String()), slog.String("do", "the disk is too slow for what comes in: give it less, or another disk"))
		k.fault(ctx, record.Fault{Text: "readings are not kept: the disk is too slow; " + gone.String()}, now, 0)
	case hold.Cleared:
		k.again(ctx, now, k.slow.since, &k.slow.lost, "readings are kept again")
		k.slow = slowness{}
	}
}

// again says that a fault is over which has lasted since then, and what was lost in it.
func (k *Keeper) again(ctx context.Context, now, since sample.Instant, gone *loss, text string) {
	if gone.scans > 0 {
		text += "; " + gone.String()
	}
	k.log.Info(text)
	k.fault(ctx, record.Fault{Over: true, Text: text}, now, now.Sub(since))
}

// fault keeps and tells that readings are not kept, or are again.
func (k *Keeper) fault(ctx context.Context, f record.Fault, now sample.Instant, held time.Duration) {
	f.Subject = record.RecordFault
	if _, err := k.put(record.Entry{At: now, Written: now, Body: f}); err != nil && !errors.Is(err, journal.ErrLater) {
		k.log.Error("a fault of the record was not kept", slog.Any("error", err), slog.String("do", "make room on the disk"))
	}
	if k.Tell != nil {
		e, _ := f.Alert(now)
		if f.Over {
			e.Held = held
		}
		k.Tell(ctx, e)
	}
}

// plain says why in words for people who have to do something about it; the log
// has the error itself.
func plain(err error) string {
	if errors.Is(err, journal.ErrFull) {
		return "the disk is full; changes of alerts still are, for a while. Somebody has to make room"
	}
	if errors.Is(err, journal.ErrUnreached) {
		return journal.ErrUnreached.Error() + ", so that they wait, and alerts too, which are told all the same; what people do with alerts is refused. Somebody has to see to the servers"
	}
	return err.Error()
}

// Condition tells how the record is. Any goroutine may ask.
func (k *Keeper) Condition() Condition {
	k.mu.Lock()
	defer k.mu.Unlock()
	return Condition{Pending: k.pending, Lost: k.lost, Trouble: k.trouble, Kept: k.kept}
}
