package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"time"

	"golang.org/x/sync/errgroup"

	"weald/cmd/internal/calmlog"
	"weald/config"
	"weald/ingest"
	"weald/ingest/sample"
	"weald/stream/calibrating"
	"weald/stream/history"
	"weald/stream/hostclock"
	"weald/stream/journal"
	"weald/stream/live"
	"weald/stream/metrics"
	"weald/stream/pipeline"
	"weald/stream/selfwatch"
	"weald/stream/view"
	"weald/webui"
	"weald/webui/api"
)

// A daemon is everything that `weald run` starts, put together. This file is
// the only one that knows every part.
type daemon struct {
	config  *config.Config
	clock   *hostclock.Clock
	pipe    *pipeline.Pipeline
	hub     *live.Hub
	broker  *listener // nil if there is none
	bridges []*running
	members *members
	book    *book    // nil if nothing is kept
	senders *senders // nil if nothing is sent
	secure  *secure  // nil for plain HTTP
	pulses  *pulses
	self    *selfwatch.Watcher
	handler webui.Options
	log     *slog.Logger
}

// newDaemon builds a daemon whose clock runs speed times as fast as the host's.
// It starts nothing.
func newDaemon(ctx context.Context, c *config.Config, speed float64, stderr io.Writer) (*daemon, error) {
	return newDaemonAfter(ctx, c, speed, sample.Past, stderr)
}

// newDaemonAfter is newDaemon, but the clock shows nothing before an instant, as
// if a former daemon had gone on until then.
func newDaemonAfter(ctx context.Context, c *config.Config, speed float64, after sample.Instant, stderr io.Writer) (_ *daemon, err error) {
	d := &daemon{config: c, log: newLog(stderr)}
	defer func() {
		if err != nil {
			err = errors.Join(err, d.book.close())
		}
	}()
	if d.book, err = openBook(ctx, c, d.log); err != nil {
		return nil, err
	}
	if d.secure, err = openSecure(c, d.log); err != nil {
		return nil, err
	}
	d.clock = hostclock.NewAfter(speed, max(after, d.book.last()))
	if d.broker, err = newListener(c, d.clock.Now, d.log); err != nil {
		return nil, err
	}
	plan := c.Plan()
	d.members = membersOf(plan)
	delay, late := metrics.NewDelay()
	options := pipeline.Options{
		Plan: plan, Clock: d.clock, Delay: late,
		Views: view.New(plan, settings(c), time.Local),
	}
	d.book.into(&options, d.log)
	d.pipe = pipeline.New(options)
	d.pulses = newPulses(c, d.pipe, d.book, d.clock.Now, d.log)
	d.senders = openSenders(c, d.book, d.pipe, d.pulses.lit, d.clock.Now, d.log)
	if d.self, err = d.watchSelf(ctx, d.log); err != nil {
		return nil, err
	}
	store := history.New(len(plan.Places), d.pipe.Series)
	d.pipe.Follow(store)
	if d.hub, err = live.New(live.Options{Places: livePlaces(c), Pipeline: d.pipe, Store: store, Clock: d.clock, Version: build(), Zone: live.HostZone(), Watched: d.book.watching()}); err != nil {
		return nil, err
	}
	d.pipe.Follow(d.hub)
	d.handler = webui.Options{
		Pages: webui.Pages(),
		Live:  d.hub,
		Hosts: c.Names,
		API: api.Options{
			Plan: plan, Pipeline: d.pipe, Store: store, Bridges: d.bridgeViews, Senders: d.senders.views, Self: d.selfView,
			Troubles: d.troubles, ClockOff: d.clock.Off, Speed: speed, Version: build(),
			Draft: c, Zone: live.HostZone(), Leaves: leaves(c),
		},
		Metrics: metrics.Handler(metrics.New(metrics.Options{
			Plan: plan, Pipeline: d.pipe, Delay: delay, Bridges: d.bridgeCounts, Senders: d.senders.counts,
			Viewers: d.hub, Ends: live.Ends[:], ClockOff: d.clock.Off, Record: d.book.well(), CertificateEnds: d.secure.ends(), Version: build(),
		})),
	}
	d.book.remember(store, plan, d.clock, d.pipe.Series, &d.handler.API, d.log)
	if d.book != nil {
		d.handler.API.Calibrating = calibrating.New(d.pipe.Raw, d.clock.Now, d.book)
		if err := d.handler.API.Calibrating.Resume(ctx, d.book.sourceOf); err != nil {
			d.log.Warn("a calibration that was going on cannot go on", slog.Any("error", err), slog.String("do", "begin it anew on the Calibrate page"))
		}
	}
	if err := d.book.serve(c, &d.handler.API); err != nil {
		return nil, err
	}
	d.book.rehearse(c, &d.handler.API)
	if err := d.book.let(ctx, c, &d.handler.Gate, d.log); err != nil {
		return nil, err
	}
	if err := d.book.link(ctx, &d.handler.API); err != nil {
		return nil, err
	}
	return d, nil
}

// run serves on l until ctx ends, and closes the record.
func (d *daemon) run(ctx context.Context, l net.Listener) error {
	if os.Getenv("GOGC") == "" { // who sets that knows better
		defer collectOften()()
	}
	return errors.Join(d.serve(ctx, l), d.book.close())
}

// serve is run, but leaves the record open.
func (d *daemon) serve(ctx context.Context, l net.Listener) error {
	group, ctx := errgroup.WithContext(ctx)
	if err := d.connect(ctx); err != nil {
		return err
	}
	handler, err := webui.New(d.handler)
	if err != nil {
		return err
	}
	for _, b := range d.bridges {
		group.Go(func() error { return b.Run(ctx) })
	}
	if d.broker != nil {
		group.Go(func() error { return d.broker.run(ctx) })
	}
	group.Go(func() error { return d.pipe.Run(ctx) })
	if d.book != nil {
		group.Go(func() error { return d.book.run(ctx, d.pipe) })
		group.Go(func() error { return d.handler.API.Calibrating.Run(ctx) })
		group.Go(func() error { return d.book.past.run(ctx) })
		group.Go(func() error { return d.book.views.Run(ctx) })
		group.Go(func() error { return d.book.desk.Run(ctx) })
		group.Go(func() error { return d.book.stage.Run(ctx) })
		group.Go(func() error { return d.book.retire(ctx, d.config.Keep, d.clock.Now, d.log) })
		group.Go(func() error { return d.book.answers(ctx, d.pipe, d.senders, d.config.Data, d.log) })
	}
	if d.senders != nil {
		group.Go(func() error { return d.senders.box.Run(ctx) })
	}
	for _, h := range d.pulses.hearts {
		group.Go(func() error { return h.Run(ctx) })
	}
	group.Go(func() error { return d.self.Run(ctx) })
	group.Go(func() error { return d.pulses.manage(ctx, l.Addr().String(), d.log) })
	group.Go(func() error { return d.hub.Run(ctx) })
	group.Go(func() error { return webui.Serve(ctx, l, d.secure.config(), handler, d.log) })
	group.Go(func() error {
		return d.clock.Watch(ctx, time.Second, func(by, off time.Duration) {
			d.log.Warn("the host's clock stepped", slog.Duration("by", by), slog.Duration("off", off),
				slog.String("do", "durations are right all the same; start weald again when it suits, so that times of day are, and see who sets the clock"))
		})
	})
	if d.secure != nil {
		group.Go(func() error { return d.secure.Run(ctx) })
	}
	d.log.Info(sayLeaves(d.handler.API.Leaves))
	d.log.Info("listening on " + d.secure.scheme() + l.Addr().String())
	return group.Wait()
}

// connect makes a supervisor for every bridge. Their scans go to the pipeline
// until ctx ends.
func (d *daemon) connect(ctx context.Context) error {
	for i := range d.config.Bridges {
		b := &d.config.Bridges[i]
		w, err := wayOf(b, d.broker, d.clock.Speed(), d.log)
		if err != nil {
			return err
		}
		bridge := bridgeOf(d.config, b, w.link)
		d.book.recall(&bridge)
		s, err := ingest.New(bridge, ingest.Options{
			Now: d.clock.Now, Speed: d.clock.Speed(), Log: d.log,
			Out: d.taker(ctx, b),
		})
		if err != nil {
			return err
		}
		d.bridges = append(d.bridges, &running{s, w})
	}
	return nil
}

// taker returns what takes the scans of a bridge. One whose link acknowledges
// frames waits until they are in the record, because a gateway does not send
// again what was acknowledged. A full disk does not stop the judging: the frame is
// acknowledged all the same, and /readyz says why. One that has failed ends the
// daemon, and its frame stays with the gateway.
func (d *daemon) taker(ctx context.Context, b *config.Bridge) func(*sample.Scan) {
	if d.book == nil || b.Link.MQTT == nil && b.Link.Client == nil {
		return func(s *sample.Scan) { _ = d.pipe.Put(ctx, s) } // fails only when everything ends
	}
	return func(s *sample.Scan) {
		if d.pipe.PutAndWait(ctx, s) == nil {
			receipt(ctx, d.book.keeper.Flush)
		}
	}
}

// receipt returns when what is flushed is on the disk, when the disk is full, or
// when ctx ends, after which nothing is acknowledged any more. The keeper's next
// writing notes what went wrong.
func receipt(ctx context.Context, flush func(context.Context) error) {
	for {
		if err := flush(ctx); err == nil || errors.Is(err, journal.ErrFull) {
			return
		}
		select {
		case <-time.After(flushAgain):
		case <-ctx.Done():
			return
		}
	}
}

// flushAgain is after how long readings are handed to a disk again that did not
// take them and did not say that it is full.
const flushAgain = time.Second

// statuses returns those of all bridges, in which a source is in trouble too if
// a site or region can no longer rest on it.
func (d *daemon) statuses() []ingest.Status {
	out := make([]ingest.Status, len(d.bridges))
	for i, b := range d.bridges {
		out[i] = b.Status()
	}
	d.members.complain(out)
	return out
}

func (d *daemon) bridgeViews() []api.Bridge {
	out := make([]api.Bridge, 0, len(d.bridges))
	for i, s := range d.statuses() {
		out = append(out, bridgeView(&s, &d.config.Bridges[i], d.bridges[i].counts(), d.config.Plan()))
	}
	return out
}

func (d *daemon) bridgeCounts() []metrics.Bridge {
	out := make([]metrics.Bridge, 0, len(d.bridges))
	for i, s := range d.statuses() {
		out = append(out, bridgeCounts(&s, d.bridges[i].counts()))
	}
	return out
}

// troubles says what is wrong with the parts that are no bridges.
func (d *daemon) troubles() []string {
	var out []string
	if words, _ := d.broker.trouble(); words != "" {
		out = append(out, words)
	}
	for _, words := range []string{d.book.trouble(), d.secure.trouble()} {
		if words != "" {
			out = append(out, words)
		}
	}
	return append(out, d.senders.trouble()...)
}

// settings is what the pages show of places beyond what the rules know.
func settings(c *config.Config) []view.Setting {
	out := make([]view.Setting, len(c.Places))
	for i := range c.Places {
		out[i].Sites = map[string]view.SiteSetting{}
		for _, s := range c.Places[i].Sites {
			out[i].Sites[s.ID] = view.SiteSetting{HeightCM: s.HeightCM, CircumferenceCM: s.CircumferenceCM, Target: s.Target}
		}
	}
	return out
}

func livePlaces(c *config.Config) []live.Place {
	out := make([]live.Place, len(c.Places))
	for i, p := range c.Places {
		out[i].ID = p.ID
		if p.Mat != nil {
			out[i].Rows, out[i].Columns = p.Mat.Rows, p.Mat.Columns
		}
	}
	return out
}

// listen opens the address of the pages.
func listen(address string) (net.Listener, error) {
	l, err := net.Listen("tcp", address)
	if err != nil {
		var op *net.OpError
		if errors.As(err, &op) {
			err = op.Err
		}
		return nil, fmt.Errorf("the pages cannot listen on %s: %w; is another weald running?", address, err)
	}
	return l, nil
}

// newLog logs for people: no time, which the journal of the system adds, and no line
// again and again.
func newLog(w io.Writer) *slog.Logger {
	return slog.New(calmlog.New(slog.NewTextHandler(w, &slog.HandlerOptions{ReplaceAttr: func(_ []string, a slog.Attr) slog.Attr {
		if a.Key == slog.TimeKey {
			return slog.Attr{}
		}
		return a
	}})))
}
