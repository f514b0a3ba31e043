package keeper

import (
	"context"
	"errors"
	"fmt"
	"log/slog"

	"weald/rules/alert"
	"weald/stream/journal"
	"weald/stream/pipeline"
	"weald/stream/record"
)

// Act implements pipeline.Recorder. The action is kept with every input before
// it, so that it meets the alert again that it was meant for.
func (k *Keeper) Act(ord uint64, key alert.Key, a alert.Action) error {
	_, err := k.decided("an action on "+key.ID(), record.Entry{
		Ord: ord, At: a.At, Place: key.Place, Author: a.Who,
		Body: record.Action{What: string(a.Verb), Subject: key.ID(), Reason: a.Why, Until: a.Until},
	})
	return err
}

// decided keeps what a person has decided, with every input before it, and returns
// its position. Its error wraps pipeline.ErrWaits where it may be in the record, or will be:
// left undone, it would be done by whoever judges that again.
func (k *Keeper) decided(what string, e record.Entry) (record.Position, error) {
	_ = k.settle(e.Ord) // where readings find no room it is kept all the same
	e.Written = k.now()
	p, err := k.late.Offer(context.Background(), e)
	if errors.Is(err, journal.ErrLater) {
		k.log.Warn("what a person did is done, and waits to be kept", slog.String("what", what), slog.Any("error", err),
			slog.String("do", "make room on the disk, or see that a majority of the servers of the log runs and can be reached"))
		return 0, fmt.Errorf("%s: %w: %w", what, pipeline.ErrWaits, err)
	}
	if err != nil {
		k.log.Error("what a person did was not kept", slog.String("what", what), slog.Any("error", err),
			slog.String("do", "make room on the disk, or see that a majority of the servers of the log runs, and let it be done again: it was not done"))
		return 0, fmt.Errorf("keeping %s: %w", what, err)
	}
	return p, nil
}

// actionOf returns what a person did with an alert, as the record has it; false
// for every other entry.
func actionOf(e *record.Entry) (alert.Key, alert.Action, bool) {
	b, ok := e.Body.(record.Action)
	if !ok {
		return alert.Key{}, alert.Action{}, false
	}
	k, ok := alert.ParseKey(b.Subject)
	return k, alert.Action{Verb: alert.Verb(b.What), At: e.At, Who: e.Author, Why: b.Reason, Until: b.Until}, ok
}
