package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"weald/config"
	"weald/ingest"
	"weald/ingest/calib"
	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/stream/afar"
	"weald/stream/audit"
	"weald/stream/journal"
	"weald/stream/journal/replicated/patience"
	"weald/stream/journal/sqlite"
	"weald/stream/keeper"
	"weald/stream/pipeline"
	"weald/stream/record"
)

// A book is the record of a running daemon, while one configuration is in force. A nil
// book is that of one whose configuration names no folder for data: it keeps nothing.
type book struct {
	store   *sqlite.Store
	log     *audit.Journal // the store; what people do is kept by it, so that a later change shows
	views   *audit.Views
	config  uint64 // version of the configuration in force
	plan    *rules.Plan
	now     func() sample.Instant // set by into
	resumed *keeper.Resumed
	reviver *keeper.Reviver
	keeper  *keeper.Keeper // set by into
	past    *past          // set by remember

	newReviver func() *keeper.Reviver
	within     time.Duration // how long the record may take for one call; 0 for as long as it takes
}

// openStore opens the record in the configuration's data folder, nil where it names
// none.
func openStore(ctx context.Context, c *config.Config) (*sqlite.Store, error) {
	if c.Data == "" {
		return nil, nil
	}
	store, err := sqlite.Open(ctx, c.Data, sqlite.Options{})
	if err != nil {
		return nil, fmt.Errorf("the record in %s: %w", c.Data, err)
	}
	if f, err := store.Followed(ctx); err != nil || f.Log != "" {
		return nil, errors.Join(fmt.Errorf("the record in %s: %w; give cluster in the configuration", c.Data, cmp.Or(err, sqlite.ErrFollows)), store.Close())
	}
	return store, nil
}

// newBook takes up a record; a nil one has none.
func (d *daemon) newBook(ctx context.Context, c *config.Config) (*book, error) {
	if d.store == nil {
		return nil, nil
	}
	b := &book{store: d.store, log: d.record, views: d.views}
	if c.Cluster != nil {
		b.within = patience.SaidAfter
	}
	if err := b.takeUp(ctx, c, d.log); err != nil {
		return nil, fmt.Errorf("the record in %s: %w", c.Data, err)
	}
	return b, nil
}

func (b *book) takeUp(ctx context.Context, c *config.Config, log *slog.Logger) error {
	converters, err := convertersOf(c)
	if err != nil {
		return err
	}
	plan := c.Plan()
	b.plan = plan
	b.newReviver = func() *keeper.Reviver { return keeper.NewReviver(plan, converters) }
	b.reviver = b.newReviver()
	if b.resumed, err = keeper.Resume(ctx, b.store, plan, b.reviver, log); err != nil {
		return err
	}
	for i := range plan.Sources { // nothing has read the plan yet
		plan.Sources[i].Calibrated = plan.Sources[i].Calibrated || b.reviver.Applied().Any(i)
	}
	b.config, err = configVersion(ctx, b.log, c, 0, max(b.last(), sample.At(time.Now())), false)
	return err
}

// last returns the newest instant in the record; the daemon's clock must not
// show an earlier one.
func (b *book) last() sample.Instant {
	if b == nil {
		return sample.Past
	}
	return b.resumed.Last
}

// convertersOf makes the calibration of every source.
func convertersOf(c *config.Config) ([]*calib.Converter, error) {
	var out []*calib.Converter
	for i := range c.Bridges {
		for k := range c.Bridges[i].Sources {
			s := &c.Bridges[i].Sources[k]
			converter, err := calib.NewConverter(unitOf(s), s.Channels, s.Lines)
			if err != nil {
				return nil, fmt.Errorf("source %s: %w", s.ID, err)
			}
			out = append(out, converter)
		}
	}
	return out, nil
}

// configVersion returns the version of the configuration in the record, where
// it is kept if it is new: as the input with ordinal ord, or, with 0, as that of a start.
// It may undo the newest, by which nothing was judged.
func configVersion(ctx context.Context, j journal.Log, c *config.Config, ord uint64, now sample.Instant, undoes bool) (uint64, error) {
	last, err := keeper.InForce(ctx, j)
	if err != nil {
		return 0, err
	}
	next := record.NewConfig(last.Version+1, c.Text)
	if next.Hash == last.Hash {
		return last.Version, nil
	}
	if undoes {
		next.Undoes = last.Version
	}
	_, err = j.Append(ctx, record.Entry{Ord: ord, At: now, Written: now, Body: next})
	return next.Version, err
}

// revert keeps that the configuration of a book that has handed over is in force again,
// as the input after the one by which another was to be, and that nothing was judged by
// that: whoever judges the record again would let alerts end for it that went on.
func (b *book) revert(ctx context.Context, c *config.Config) error {
	if b == nil {
		return nil
	}
	head, err := b.log.Head(ctx)
	if err == nil {
		_, err = configVersion(ctx, b.log, c, head.Ord+1, b.now(), true)
	}
	return err
}

// into makes a pipeline keep what it does, and begin where the record ends.
func (b *book) into(o *pipeline.Options, log *slog.Logger) {
	if b == nil {
		return
	}
	b.now = o.Clock.Now
	b.keeper = keeper.New(b.log, o.Plan, b.resumed, b.reviver, b.config, o.Clock.Now, log)
	b.keeper.Within = b.within
	o.Recorder, o.Ord, o.Applied = b.keeper, b.resumed.Ord, b.reviver.Applied()
	o.Past, o.Found, o.Judge = b.resumed.Past, b.resumed.New, judgeOf(b.resumed)
}

// judgeOf lets a pipeline judge by an engine that has been taken up.
func judgeOf(r *keeper.Resumed) func(*rules.Plan, rules.Sink) pipeline.Judge {
	return func(_ *rules.Plan, sink rules.Sink) pipeline.Judge {
		r.Sink.To = sink
		return r.Engine
	}
}

// recall lets the sources of a live bridge go on where the record ends.
func (b *book) recall(bridge *ingest.Bridge) {
	if b == nil {
		return
	}
	for i := range bridge.Sources {
		bridge.Sources[i].Heard = b.resumed.Heard(bridge.Sources[i].ID)
	}
}

// arrivals are, by source, up to which arrival the record has its scans.
func (b *book) arrivals(c *config.Config) map[string]sample.Instant {
	out := map[string]sample.Instant{}
	for i := range c.Plan().Sources {
		id := c.Plan().Sources[i].ID
		out[id] = b.resumed.Arrived(id)
	}
	return out
}

// run keeps readings and snapshots until ctx ends.
func (b *book) run(ctx context.Context, p *pipeline.Pipeline) error {
	b.keeper.Tell = func(ctx context.Context, e alert.Event) { _ = p.Tell(ctx, e) } // fails only when everything ends
	return b.keeper.Run(ctx, p.Snapshot)
}

// end keeps what is left. The pipeline must have ended, or never begun.
func (b *book) end() error {
	if b == nil {
		return nil
	}
	var err error
	if b.keeper != nil {
		err = b.keeper.Flush(context.Background())
	}
	if b.past != nil {
		err = errors.Join(err, b.past.archivist.Finish(context.Background()))
	}
	return err
}

// closeRecord ends the use of the record, if there is one.
func (d *daemon) closeRecord() error {
	if d.store == nil {
		return nil
	}
	d.store.KeepMended(context.Background(), d.whole) // readers may have met damage
	return d.whole.Close()
}

// trouble says what is wrong with the record, for /readyz; "" if nothing is.
func (b *book) trouble() string {
	if b == nil {
		return ""
	}
	if t := b.keeper.Condition().Trouble; t != "" {
		return "the record: " + t
	}
	if err := b.past.archivist.Trouble(); err != nil {
		return "the record: what signals did is not kept: " + err.Error()
	}
	return ""
}

// unkept says why nothing of what happens gets into the record or the log, and since when; nil
// where something does.
func (b *book) unkept() *afar.Unkept {
	if b == nil {
		return nil
	}
	c := b.keeper.Condition()
	if c.Kept == sample.Never {
		return nil
	}
	return &afar.Unkept{Since: c.Kept.Time(), Why: cmp.Or(c.Trouble, journal.ErrUnreached.Error())}
}

// well returns what says, for metrics, whether all is kept; nil without a record.
func (b *book) well() func() bool {
	if b == nil {
		return nil
	}
	return func() bool { return b.trouble() == "" }
}
