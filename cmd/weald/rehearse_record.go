package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"weald/config"
	"weald/ingest/calib"
	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/journal"
	"weald/stream/keeper"
	"weald/stream/record"
	"weald/stream/rehearsal"
)

// rehearseRecord judges what the record has by each of the plans, which differ in
// their rules only. What could not be read is said on stderr; the rest is judged.
func rehearseRecord(ctx context.Context, c *config.Config, plans []*rules.Plan, o rehearsal.Options, stderr io.Writer) ([]*rehearsal.Result, error) {
	if o.ByEventTime {
		return nil, usageError{errors.New("--by-event-time is for recordings; the record is judged in the order of the live run")}
	}
	converters, err := convertersOf(c)
	if err != nil {
		return nil, err
	}
	store, err := readRecord(ctx, c.Data)
	if err != nil {
		return nil, err
	}
	results, err := judgeRecord(ctx, c, plans, o, store, converters, stderr)
	return results, errors.Join(err, store.Close())
}

func judgeRecord(ctx context.Context, c *config.Config, plans []*rules.Plan, o rehearsal.Options, store journal.Journal, converters []*calib.Converter, stderr io.Writer) ([]*rehearsal.Result, error) {
	first, last, err := span(ctx, store, o)
	if err != nil {
		return nil, fmt.Errorf("the record in %s: %w", c.Data, err)
	}
	results, err := rehearsal.Replay(plans, o, func(live *rehearsal.Live) error {
		replay, err := keeper.Feed(ctx, store, plans[0], keeper.NewReviver(plans[0], converters), first, last, live)
		for _, l := range replay.Losses {
			fmt.Fprintf(stderr, "weald: %v\n", l)
		}
		if replay.Foreign > 0 {
			fmt.Fprintf(stderr, "weald: %d scans are of sources that the configuration does not have; they were not judged\n", replay.Foreign)
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	own, err := ownAlerts(ctx, store, o)
	for _, r := range results {
		r.Own = own
	}
	return results, err
}

// ownAlerts counts the alerts of the daemon itself that a record has of the time of a
// rehearsal.
func ownAlerts(ctx context.Context, log journal.Log, o rehearsal.Options) (n int, err error) {
	for e, err := range journal.Readable(log.Entries(ctx, journal.Query{Kinds: []record.Kind{record.KindFault}}), nil) {
		if err != nil {
			return 0, err
		}
		f := e.Body.(record.Fault)
		if _, own := f.Alert(e.At); own && !f.Over && e.At >= o.From && e.At < o.To {
			n++
		}
	}
	return n, nil
}

// span returns the inputs that are to be judged.
func span(ctx context.Context, j journal.Journal, o rehearsal.Options) (first, last uint64, err error) {
	if o.From == sample.Past && o.To == sample.Never {
		head, err := j.Head(ctx)
		return 1, head.Ord, err
	}
	return j.Span(ctx, o.From, o.To)
}
