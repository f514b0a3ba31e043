package main

import (
	"context"
	"errors"
	"time"

	"weald/config"
	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/journal"
	"weald/stream/keeper"
	"weald/stream/order"
	"weald/stream/record"
	"weald/stream/rehearsal"
	"weald/webui/api"
)

// rehearsalsName is the folder of rehearsals that people asked a daemon for.
const rehearsalsName = "rehearsals"

// rehearse lets people ask what other rules would have raised. They are judged
// from what the record has, beside the pipeline and not by it. A nil book does
// nothing.
func (b *book) rehearse(c *config.Config, desk *order.Desk, o *api.Options) {
	if b == nil {
		return
	}
	o.Rehearse = &api.Stage{
		Desk: desk, Seconds: b.seconds, Proposal: c.Proposal,
		Rules: func(text string) (*rules.Plan, error) {
			plan, problems := c.WithRules("rules", []byte(text))
			return plan, problems.Err()
		},
	}
}

// rehearser makes what somebody asked for, by the configuration that was in force when
// that began.
func (b *book) rehearser(c *config.Config) order.Maker {
	sources := &rehearsal.Sources{Plan: c.Plan(), Seconds: b.seconds, Replay: b.judgeAgain}
	return sources.Make
}

// seconds returns what reads the seconds of a place.
func (b *book) seconds(place int) rehearsal.Seconds {
	return func(ctx context.Context, signal string, from, to sample.Instant, dst []record.Point) ([]record.Point, error) {
		return b.past.reader.Seconds(ctx, place, signal, from, to, dst)
	}
}

// judgeAgain judges the readings of a span by each of the plans.
func (b *book) judgeAgain(ctx context.Context, plans []*rules.Plan, o rehearsal.Options, tell func(float64)) ([]*rehearsal.Result, []string, error) {
	var notes []string
	results, err := rehearsal.Replay(plans, o, func(live *rehearsal.Live) error {
		first, last, err := span(ctx, b.store, o)
		if errors.Is(err, journal.ErrNotFound) {
			return nil // nothing was kept then
		} else if err != nil {
			return err
		}
		replay, err := keeper.Feed(ctx, b.store, plans[0], b.newReviver(), first, last, &reporting{Live: live, o: o, tell: tell})
		for _, l := range replay.Losses {
			notes = append(notes, l.Error())
		}
		return err
	})
	return results, notes, err
}

// A reporting tells how far a replay has come, once in a while.
type reporting struct {
	*rehearsal.Live
	o     rehearsal.Options
	tell  func(float64)
	scans int
	from  sample.Instant // where what is kept of the span begins
}

// tellEvery is after how many scans the share is told again.
const tellEvery = 1000

func (t *reporting) Scan(s *sample.Scan) {
	if t.scans == 0 {
		t.from = max(t.o.From, s.At)
	}
	if t.scans++; t.scans%tellEvery == 0 {
		t.tell(s.At.Sub(t.from).Seconds() / max(t.o.To.Sub(t.from), time.Second).Seconds())
	}
	t.Live.Scan(s)
}
