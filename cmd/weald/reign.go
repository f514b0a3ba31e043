package main

import (
	"context"
	"errors"
	"log/slog"
	"net/http"
	"slices"
	"time"

	"golang.org/x/sync/errgroup"

	"weald/config"
	"weald/ingest"
	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/calibrating"
	"weald/stream/history"
	"weald/stream/hostclock"
	"weald/stream/keeper"
	"weald/stream/live"
	"weald/stream/metrics"
	"weald/stream/pipeline"
	"weald/stream/record"
	"weald/stream/selfwatch"
	"weald/stream/view"
	"weald/webui"
	"weald/webui/api"
)

// A reign is everything that is made of one configuration, for as long as that is in
// force. It may share its bridges with the reign before and the one after.
type reign struct {
	config  *config.Config
	sources map[string]int // by id: its index in the plan
	pipe    *pipeline.Pipeline
	memory  *history.Store
	hub     *live.Hub
	members *members
	reviver *keeper.Reviver // of readings that come through the log; nil where none do
	book    *book           // nil if nothing is kept
	senders *senders        // nil if nothing is sent
	bridges []*running      // in the order of the configuration
	broker  *listener
	inflow  *inflow
	secure  *secure
	pulses  *pulses
	self    *selfwatch.Watcher
	clock   *hostclock.Clock

	ctx     context.Context // of its own parts, all but the hub
	parts   *errgroup.Group // those
	end     context.CancelCauseFunc
	dismiss context.CancelCauseFunc // ends the hub
}

// errReplaced ends the parts of a reign when another one comes into force.
var errReplaced = errors.New("another configuration has come into force")

// newReign makes what has to be there before the first scan. Former is the reign that has
// handed over, nil for none.
func (d *daemon) newReign(ctx context.Context, c *config.Config, b *book, former *handedOver) (*reign, error) {
	plan := c.Plan()
	t := &reign{config: c, book: b, members: membersOf(plan), sources: make(map[string]int), broker: d.broker, inflow: d.inflow, secure: d.secure, clock: d.clock}
	for i := range plan.Sources {
		t.sources[plan.Sources[i].ID] = i
	}
	options := pipeline.Options{Plan: plan, Clock: d.clock, Delay: d.late, Views: view.New(plan, settings(c), time.Local)}
	t.book.into(&options, d.log)
	if options.Until = d.inflow.until(); d.inflow != nil {
		t.reviver = b.newReviver()
	}
	if former != nil {
		former.into(&options, t, d.clock.Now(), d.log)
	}
	t.pipe = pipeline.New(options)
	t.pulses = newPulses(c, t.pipe, t.book, d.clock.Now, d.log)
	t.senders = openSenders(c, t.book, t.pipe, t.pulses.lit, d.clock.Now, d.log)
	var err error
	if t.self, err = t.watchSelf(ctx, d.log); err != nil {
		return nil, err
	}
	t.memory = history.New(len(plan.Places), t.pipe.Series)
	t.pipe.Follow(t.memory)
	t.hub = live.New(live.Options{Places: livePlaces(c), Pipeline: t.pipe, Store: t.memory, Clock: d.clock, Version: build(), Zone: live.HostZone(),
		Watched: t.book.watching(), Settings: record.NewConfig(0, c.Text).Hash[:12]})
	t.pipe.Follow(t.hub)
	crashed := d.start
	if former != nil && former.mended() {
		crashed = sample.Past
	}
	t.book.remember(t.memory, plan, d.clock, t.pipe.Series, crashed, d.log)
	return t, nil
}

// begin starts the parts of a reign.
func (d *daemon) begin(t *reign) {
	ctx, end := context.WithCancelCause(d.ctx)
	viewers, dismiss := context.WithCancelCause(d.ctx)
	t.parts, ctx = errgroup.WithContext(ctx)
	t.ctx, t.end, t.dismiss = ctx, end, dismiss
	t.parts.Go(func() error { return t.pipe.Run(ctx) })
	if t.book != nil {
		t.parts.Go(func() error { return t.book.run(ctx, t.pipe) })
		t.parts.Go(func() error { return t.book.past.run(ctx) })
		t.parts.Go(func() error { return t.book.retire(ctx, t.config.Keep, d.clock.Now, d.log) })
	}
	if t.senders != nil {
		t.parts.Go(func() error { return t.senders.box.Run(ctx) })
	}
	d.group.Go(func() error {
		if err := t.parts.Wait(); !errors.Is(err, errReplaced) {
			return err
		}
		return nil
	})
	d.group.Go(func() error {
		if err := t.hub.Run(viewers); !errors.Is(err, live.ErrReplaced) {
			return err
		}
		return nil
	})
}

// stop ends the parts of a reign that has handed over, but for its hub.
func (t *reign) stop() error {
	t.end(errReplaced)
	if err := t.parts.Wait(); !errors.Is(err, errReplaced) {
		return err
	}
	return nil
}

// open lets a reign that has begun answer people and programs.
func (d *daemon) open(t *reign) error {
	c, plan := t.config, t.config.Plan()
	o := api.Options{
		Plan: plan, Pipeline: t.pipe, Store: t.memory, Bridges: t.bridgeViews, Senders: t.senders.views, Self: t.selfView,
		Troubles: t.troubles, Version: build(),
		Draft: c, Configuration: settingsFile{d}, Zone: live.HostZone(), Links: d.links, Leaves: leaves(c), Directory: directoryOf(c),
	}
	t.book.show(&o)
	if t.book != nil {
		o.Calibrating = calibrating.New(t.pipe.Raw, d.clock.Now, t.book)
		if err := o.Calibrating.Resume(t.ctx, t.book.sourceOf); err != nil {
			d.log.Warn("a calibration that was going on cannot go on", slog.Any("error", err), slog.String("do", "begin it anew on the Calibrate page"))
		}
		t.parts.Go(func() error { return o.Calibrating.Run(t.ctx) })
	}
	if d.store != nil {
		o.Erase = d.eraseFor
	}
	t.book.serve(c, d.orders, &o)
	t.book.rehearse(c, d.stage, &o)
	handler, err := webui.New(webui.Options{
		Pages: webui.Pages(), Live: t.hub, API: o, Gate: d.gateOf(c, t.book), Hosts: c.Names,
		Metrics: metrics.Handler(metrics.New(metrics.Options{
			Plan: plan, Pipeline: t.pipe, Delay: d.delay, Bridges: t.bridgeCounts, Senders: t.senders.counts, Self: t.self.Conditions,
			Viewers: t.hub, Ends: live.Ends[:], ClockOff: d.clock.Off, Record: t.book.well(), CertificateEnds: d.secure.ends(), Version: build(),
		})),
	})
	if err != nil {
		return err
	}
	for _, h := range t.pulses.hearts {
		t.parts.Go(func() error { return h.Run(t.ctx) })
	}
	t.parts.Go(func() error { return t.self.Run(t.ctx) })
	var h http.Handler = handler
	d.door.Store(&h)
	return nil
}

// statuses returns those of all bridges, in which a source is in trouble too if
// a site or region can no longer rest on it.
func (t *reign) statuses() []ingest.Status {
	out := make([]ingest.Status, len(t.bridges))
	for i, b := range t.bridges {
		out[i] = b.Status()
		for k := range out[i].Sources {
			s := &out[i].Sources[k]
			s.Index = t.sources[s.ID]
		}
	}
	t.members.complain(out)
	return out
}

func (t *reign) bridgeViews() []api.Bridge {
	out := make([]api.Bridge, 0, len(t.bridges))
	for i, s := range t.statuses() {
		out = append(out, bridgeView(&s, &t.config.Bridges[i], t.bridges[i].counts(), t.config.Plan()))
	}
	return out
}

func (t *reign) bridgeCounts() []metrics.Bridge {
	out := make([]metrics.Bridge, 0, len(t.bridges))
	for i, s := range t.statuses() {
		out = append(out, bridgeCounts(&s, t.bridges[i].counts()))
	}
	return out
}

// troubles says what is wrong with the parts that are no bridges.
func (t *reign) troubles() []string {
	var out []string
	if words, _ := t.broker.trouble(); words != "" {
		out = append(out, words)
	}
	out = append(out, t.inflow.troubles()...)
	for _, words := range []string{t.book.trouble(), t.secure.trouble()} {
		if words != "" {
			out = append(out, words)
		}
	}
	for _, c := range t.self.Conditions() {
		if words := c.Words(); words != "" && c.Kind.Unfit {
			out = append(out, words)
		}
	}
	return append(out, t.senders.trouble()...)
}

// complaints are all that the daemon finds wrong, for the doctor.
func (t *reign) complaints() (out []string) {
	for _, s := range t.statuses() {
		if s.Trouble != "" {
			out = append(out, "bridge "+s.Bridge+": "+s.Trouble)
			continue // which explains its sources
		}
		for i := range s.Sources {
			if why := s.Sources[i].Trouble; why != "" {
				out = append(out, "source "+s.Sources[i].ID+": "+why)
			}
		}
	}
	for _, c := range t.self.Conditions() {
		if c.Raised && !c.Kind.Unfit {
			out = append(out, c.Text)
		}
	}
	return append(out, t.troubles()...)
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

// placeNamed returns the index of a place in a plan, -1 for none.
func placeNamed(plan *rules.Plan, id string) int {
	return slices.IndexFunc(plan.Places, func(p rules.Place) bool { return p.ID == id })
}
