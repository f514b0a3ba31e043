package main

import (
	"context"
	"fmt"
	"slices"

	calibration "weald/ingest/calib/record"
	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/record"
)

// Refuse implements calibrating.Book: it keeps a calibration that does not come into
// force, of a channel that there is.
func (b *book) Refuse(ctx context.Context, r *calibration.Refused) error {
	i := slices.IndexFunc(b.plan.Sources, func(s rules.Source) bool { return s.ID == r.Bridge+"/"+r.Source })
	if i < 0 || r.Channel >= b.plan.Sources[i].Channels {
		return fmt.Errorf("calibration of %s/%s/%d: there is no such channel", r.Bridge, r.Source, r.Channel)
	}
	_, err := b.store.Append(ctx, record.Entry{At: sample.At(r.At), Written: b.now(), Author: r.By, Body: record.Refused{Refused: *r}})
	return err
}
