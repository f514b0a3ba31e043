package keeper

import (
	"context"
	"fmt"
	"log/slog"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/stream/journal"
	"weald/stream/record"
)

// HandOver keeps how everything stands after the input with ordinal ord, and that
// another configuration comes into force as the input after it: whoever resumes then,
// in this process or after its end, goes on from exactly here. The text may be that of
// the configuration in force, whose version stays. It is called on the pipeline's
// goroutine, after which the keeper is given nothing more. With an error nothing has
// changed: everything goes on as before. A record that is out of reach holds up what is
// judged for Within at most, and not at all where that is known.
func (k *Keeper) HandOver(ctx context.Context, ord uint64, places int, state func(place int, b []byte) []byte, text, author string) error {
	if k.waits() {
		return fmt.Errorf("what waits cannot be kept: %w", journal.ErrUnreached)
	}
	if err := k.write(ctx); err != nil { // a snapshot must not be ahead of its inputs
		return fmt.Errorf("what waits cannot be kept: %w", err)
	}
	now := k.now()
	if ord > 0 {
		if err := k.putSnapshot(ctx, record.Snapshot{Ord: ord, At: now, Config: k.config, Body: k.pack(places, state)}); err != nil {
			return fmt.Errorf("how everything stands cannot be kept: %w", err)
		}
	}
	was, err := InForce(ctx, k.journal)
	if err != nil {
		return err
	}
	next := record.NewConfig(was.Version+1, text)
	if next.Hash == was.Hash {
		return nil
	}
	// This takes as long as it takes: whether it was kept has to be known.
	if _, err := k.journal.Append(ctx, record.Entry{Ord: ord + 1, At: now, Written: now, Author: author, Body: next}); err != nil {
		return fmt.Errorf("the configuration cannot be kept: %w", err)
	}
	return nil
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
