package main

import (
	"cmp"
	"context"
	"errors"
	"log/slog"
	"os"
	"os/signal"
	"slices"
	"strings"
	"syscall"

	"weald/config"
	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/keeper"
	"weald/stream/live"
	"weald/stream/pipeline"
)

// A reload puts another configuration into force between two inputs. It is a start, but
// for what need not end for it: the pipeline hands over as if the daemon ended, the record
// is taken up as by a start, and the bridges that are as before, which stand still
// meanwhile, go on delivering into the new pipeline. So a daemon that is killed afterwards
// goes on as this one would have.

// rereads reloads whenever somebody sends SIGHUP.
func (d *daemon) rereads(ctx context.Context) error {
	return onHangup(ctx, func() { _ = d.reload("") }) // which has said what is wrong
}

// onHangup calls f for every SIGHUP until ctx ends.
func onHangup(ctx context.Context, f func()) error {
	hangup := make(chan os.Signal, 1)
	signal.Notify(hangup, syscall.SIGHUP)
	defer signal.Stop(hangup)
	for {
		select {
		case <-hangup:
			f()
		case <-ctx.Done():
			return context.Cause(ctx)
		}
	}
}

// errFixed is wrapped by what says that a configuration needs a restart.
var errFixed = errors.New("restart weald for it; until then all goes on as before")

// reload reads the file anew and puts it into force. Who is the code of whoever asks for
// it, "" if that is not known. Its errors are the file's config.Problems, or wrap errFixed,
// or say why nothing could be kept; all goes on as before then.
func (d *daemon) reload(who string) error {
	d.reloads.Lock()
	defer d.reloads.Unlock()
	if d.secure != nil {
		d.secure.Look() // whoever has put new files there need not wait
	}
	c, problems := config.Load(d.now().config.Path)
	err := problems.Err()
	if err == nil {
		err = d.apply(c, who)
	}
	if err != nil {
		do := "mend the file, weald check says whether it is in order, and reload again"
		if errors.Is(err, journal.ErrUnreached) {
			do = "see that a majority of the servers of the log runs and can be reached from here, and reload again"
		}
		for line := range strings.SplitSeq(err.Error(), "\n") {
			d.log.Error("the configuration is not applied, and the former one stays in force", slog.String("why", line), slog.String("do", do))
		}
	}
	return err
}

// apply puts a configuration into force. The caller holds reloads.
func (d *daemon) apply(c *config.Config, who string) error {
	old := d.now()
	broker, err := prepare(d.ctx, old.config, c, d.broker, d.clock.Now, d.speed, d.log)
	if err != nil {
		return err
	}
	return d.enforce(old, c, broker, who)
}

// enforce puts a configuration into force that was prepared, with the MQTT listener of
// that. If it cannot, the former one is in force again, with its bridges as they were.
func (d *daemon) enforce(old *reign, c *config.Config, broker *listener, who string) error {
	gone := d.gone(old.config, c)
	next, err := d.replace(old, c, who, gone)
	switch {
	case next == nil:
		return err
	case err != nil:
		gone, broker = nil, d.broker
	}
	for _, r := range gone {
		r.stop()
		<-r.done
		delete(d.lines, r.spec.ID)
	}
	if broker != d.broker {
		d.broker.end()
		if d.broker = broker; broker != nil {
			broker.launch(d.ctx, d.group)
		}
	}
	next.broker = d.broker
	if failed := errors.Join(d.connect(next), d.open(next)); failed != nil {
		d.group.Go(func() error { return failed }) // it was tried before
		return failed
	}
	for _, r := range next.bridges {
		if r.done == nil {
			r.launch(d.ctx, d.group)
		}
	}
	old.dismiss(live.ErrReplaced)
	if old.book != nil {
		if failed := old.book.past.archivist.Finish(d.ctx); failed != nil {
			d.log.Warn("history of what is no longer in the configuration was not kept", slog.Any("error", failed),
				slog.String("do", "the last minute of its curves is lost; see whether the disk is full"))
		}
	}
	if err == nil {
		d.log.Info("the configuration is in force", slog.Uint64("version", next.version()), slog.String("changed", cmp.Or(strings.Join(changes(old.config, c), "; "), "nothing but what it names")))
	}
	return err
}

// gone lists the bridges that do not go on with a configuration.
func (d *daemon) gone(old, c *config.Config) (gone []*running) {
	for i := range old.Bridges {
		if r := d.lines[old.Bridges[i].ID]; r != nil && !stays(old, c, r.spec.ID) {
			gone = append(gone, r)
		}
	}
	return gone
}

// replace puts a new reign in the place of one, between two inputs. Without a reign its
// error says why that goes on.
func (d *daemon) replace(old *reign, c *config.Config, who string, gone []*running) (*reign, error) {
	d.gate.Lock()
	defer d.gate.Unlock()
	h := &handedOver{reign: old, states: map[string][]byte{}}
	err := old.pipe.HandOver(d.ctx, func(ord uint64, places int, state func(int, []byte) []byte) (took uint64, err error) {
		if old.book != nil {
			return old.book.keeper.HandOver(d.ctx, ord, places, state, c.Text, who)
		}
		for i := range places {
			h.states[old.config.Places[i].ID] = state(i, nil)
		}
		return 0, nil
	})
	if err != nil {
		return nil, err
	}
	next, err := d.succeed(c, h)
	if err != nil { // something is wrong that no check has found
		d.log.Error("the former configuration comes into force again", slog.Any("error", err), slog.String("do", "tell who makes weald: no check has found what is wrong"))
		gone = nil
		again, problems := config.Parse(old.config.Path, []byte(old.config.Text)) // whose plan requests that are on their way do not read
		failed := problems.Err()
		if failed == nil {
			failed = old.book.revert(d.ctx, again)
		}
		if failed == nil {
			next, failed = d.succeed(again, h)
		}
		if failed != nil {
			d.group.Go(func() error { return failed })
			return nil, errors.Join(err, failed)
		}
	}
	for _, r := range d.lines {
		if r.at = nil; !slices.Contains(gone, r) {
			r.seat(next)
		}
	}
	d.reign = next
	d.begin(next)
	return next, err
}

// succeed makes the reign that comes after one that has handed over.
func (d *daemon) succeed(c *config.Config, h *handedOver) (*reign, error) {
	if err := h.reign.stop(); err != nil {
		return nil, err
	}
	b, err := d.newBook(d.ctx, c)
	if err != nil {
		return nil, err
	}
	next, err := d.newReign(d.ctx, c, b, h)
	if err != nil {
		return nil, err
	}
	next.members.layout = h.reign.members.layout + 1
	next.inherit(h.reign)
	return next, nil
}

// inherit takes over what a former reign remembers.
func (t *reign) inherit(former *reign) {
	plan, was := t.config.Plan(), former.config.Plan()
	for i := range plan.Places {
		k := placeNamed(was, plan.Places[i].ID)
		if k < 0 {
			continue
		}
		mat, old := plan.Places[i].Mat, was.Places[k].Mat
		sameMat := mat != nil && old != nil && mat.Rows == old.Rows && mat.Columns == old.Columns
		from := t.memory.Succeed(i, former.memory, k, sameMat)
		if t.book != nil {
			t.book.past.archivist.Succeed(i, former.book.past.archivist, k, from)
		}
	}
}

// version is that of the configuration, 0 where there is no record to count them.
func (t *reign) version() uint64 {
	if t.book == nil {
		return 0
	}
	return t.book.config
}

// A handedOver is a reign whose pipeline has handed over.
type handedOver struct {
	reign  *reign
	states map[string][]byte // by place; of use where there is no record to take them from
}

// into makes a pipeline go on where the reign stood.
func (h *handedOver) into(o *pipeline.Options, t *reign, now sample.Instant, log *slog.Logger) {
	o.Former, o.Past = h.reign.pipe, nil
	if t.book == nil {
		r := keeper.Succeed(o.Plan, h.states, h.reign.pipe.Standing(), now, log)
		o.Judge, o.Found = judgeOf(r), r.New
	}
}

// mended reports whether what a crash left undone has been seen to.
func (h *handedOver) mended() bool { return h.reign.book == nil || h.reign.book.past.mended.Load() }
