package keeper

import (
	"context"
	"errors"
	"fmt"
	"log/slog"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/stream/journal"
	"weald/stream/record"
)

// mostAtReload is how many calls may wait for the record where another configuration comes into
// force, which waits for them: what one tick may leave, and not what hours did.
const mostAtReload = 64

// HandOver keeps how everything stands after the input with ordinal ord, and that
// another configuration comes into force as the input after it: whoever resumes then,
// in this process or after its end, goes on from exactly here. The text may be that of
// the configuration in force, whose version stays. It is called on the pipeline's
// goroutine, after which the keeper is given nothing more. With an error nothing has
// changed: everything goes on as before, but for ordinals, of which it says how many it took: a
// configuration of which it is not known whether it was kept is, and is undone, before anything
// else is kept. A record that is out of reach holds up what is
// judged for Within at most, and not at all where that is known; nor does one that is there
// again and still takes what waited.
func (k *Keeper) HandOver(ctx context.Context, ord uint64, places int, state func(place int, b []byte) []byte, text, author string) (took uint64, err error) {
	if calls, _ := k.late.Waits(); calls > mostAtReload || k.waits() {
		return 0, fmt.Errorf("what waits cannot be kept: %w", journal.ErrUnreached)
	}
	if err := k.write(ctx); err != nil { // a snapshot must not be ahead of its inputs
		return 0, fmt.Errorf("what waits cannot be kept: %w", err)
	}
	now := k.now()
	if ord > 0 {
		if err := k.putSnapshot(ctx, record.Snapshot{Ord: ord, At: now, Config: k.config, Body: k.pack(places, state)}); err != nil {
			return 0, fmt.Errorf("how everything stands cannot be kept: %w", err)
		}
	}
	was, err := InForce(ctx, k.journal)
	if err != nil {
		return 0, err
	}
	next := record.NewConfig(was.Version+1, text)
	if next.Hash == was.Hash {
		return 0, nil
	}
	_, err = k.late.Offer(context.Background(), record.Entry{Ord: ord + 1, At: now, Written: now, Author: author, Body: next})
	switch {
	case errors.Is(err, journal.ErrLater):
		undo := record.NewConfig(next.Version+1, was.Text)
		undo.Undoes = next.Version
		k.late.Follow(record.Entry{Ord: ord + 2, At: now, Written: now, Body: undo})
		k.fix(ord + 2)
		why := journal.ErrUnreached // and not that it comes later, as it does not come into force
		if errors.Is(err, journal.ErrFull) {
			why = journal.ErrFull
		}
		return 2, fmt.Errorf("the configuration could not be kept in time, and is undone: %w", why)
	case err != nil:
		return 0, fmt.Errorf("the configuration cannot be kept: %w", err)
	}
	return 1, nil
}

// Succeed is Resume without a record: an engine for plan goes on with the states of a
// former one's places, by their ids. Last is how each alert was told of last; those that
// it does not go on with end, in New.
func Succeed(plan *rules.Plan, states map[string][]byte, last []alert.Event, now sample.Instant, log *slog.Logger) *Resumed {
	out := &Resumed{Sink: &Relay{To: &gatherer{}}, Last: now}
	out.Engine = rules.NewEngine(plan, out.Sink)
	out.restore(plan, states, log)
	out.part(last)
	return out
}
