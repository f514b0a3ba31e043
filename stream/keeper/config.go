package keeper

import (
	"context"
	"fmt"

	"weald/stream/journal"
	"weald/stream/record"
)

// Reigns returns the configurations of a record by which something was judged, the oldest
// first. One that was undone is left out, and so is the one that undid it where the one
// before both, which has the same text, is there: that went on.
func Reigns(ctx context.Context, j journal.Log, lost func(*journal.Loss)) (all []record.Entry, err error) {
	for e, err := range journal.Readable(j.Entries(ctx, journal.Query{Kinds: []record.Kind{record.KindConfig}}), lost) {
		if err != nil {
			return nil, fmt.Errorf("the configurations of the record cannot be read: %w", err)
		}
		c := e.Body.(record.Config)
		if last := len(all) - 1; c.Undoes > 0 && last >= 0 && all[last].Body.(record.Config).Version == c.Undoes {
			all = all[:last]
		}
		if last := len(all) - 1; c.Undoes > 0 && last >= 0 && all[last].Body.(record.Config).Hash == c.Hash {
			continue
		}
		all = append(all, e)
	}
	return all, nil
}

// InForce returns the newest configuration of a record; its zero value where there is
// none.
func InForce(ctx context.Context, j journal.Log) (record.Config, error) {
	q := journal.Query{Kinds: []record.Kind{record.KindConfig}, Newest: true}
	for e, err := range journal.Readable(j.Entries(ctx, q), nil) {
		if err != nil {
			return record.Config{}, fmt.Errorf("the configurations of the record cannot be read: %w", err)
		}
		return e.Body.(record.Config), nil
	}
	return record.Config{}, nil
}
