package main

import (
	"context"
	"errors"
	"log/slog"
	"sync/atomic"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/archive"
	"weald/stream/history"
	"weald/stream/hostclock"
	"weald/stream/journal"
	"weald/stream/pipeline"
	"weald/webui/api"
)

// A past is the history in the record of a running daemon.
type past struct {
	archivist *archive.Archivist
	reader    *archive.Reader
	mend      func(context.Context) error // what a crash left undone
	mended    atomic.Bool
	log       *slog.Logger
}

// remember makes the record keep what memory has. Crashed is the newest instant of a
// former run that may have left something undone, Past for none.
func (b *book) remember(memory *history.Store, plan *rules.Plan, clock *hostclock.Clock, series func(int) []pipeline.Series, crashed sample.Instant, log *slog.Logger) {
	if b == nil {
		return
	}
	ids := make([]string, len(plan.Places))
	for i := range plan.Places {
		ids[i] = plan.Places[i].ID
	}
	reviver := b.newReviver()
	b.past = &past{
		archivist: archive.New(memory, ids, b.log, clock, log),
		reader:    archive.NewReader(memory, ids, b.store),
		log:       log,
		mend: func(ctx context.Context) error {
			return archive.Recover(ctx, b.log, plan, reviver, series, crashed)
		},
	}
}

// show makes the interface answer from memory and record, and take notes.
func (b *book) show(o *api.Options) {
	if b != nil {
		o.Past = b.past.reader.Query
		o.Record, o.Config = b.log, b.config
	}
}

// mendAgain is how soon that is tried again where the servers of the log did not answer.
const mendAgain = 10 * time.Second

// run keeps history until ctx ends. That it cannot mend the past does not keep
// it from the present.
func (p *past) run(ctx context.Context) error {
	err := p.mend(ctx)
	for errors.Is(err, journal.ErrUnreached) && ctx.Err() == nil {
		select {
		case <-time.After(mendAgain):
			err = p.mend(ctx)
		case <-ctx.Done():
		}
	}
	if err != nil && ctx.Err() == nil {
		p.log.Warn("history from before the start was not mended, so that the pages may show gaps", slog.Any("error", err),
			slog.String("do", "it is tried again at the next start; weald doctor reads the record"))
	}
	p.mended.Store(ctx.Err() == nil)
	return p.archivist.Run(ctx)
}
