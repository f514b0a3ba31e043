package keeper

import (
	"context"
	"fmt"

	"weald/stream/journal"
	"weald/stream/record"
)

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
