package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/prometheus/client_golang/prometheus"
	"golang.org/x/sync/errgroup"

	"weald/cmd/internal/calmlog"
	"weald/cmd/internal/garbage"
	"weald/config"
	"weald/ingest/sample"
	"weald/stream/access"
	"weald/stream/afar"
	"weald/stream/audit"
	"weald/stream/hostclock"
	"weald/stream/journal"
	"weald/stream/journal/sqlite"
	"weald/stream/metrics"
	"weald/stream/order"
	"weald/stream/pipeline"
	"weald/stream/seatlink"
	"weald/stream/view"
	"weald/webui"
)

// A daemon is what `weald run` starts: the parts that last as long as the process. What
// is made of a configuration is in the reign that is in force, and a reload (reload.go)
// puts another one in its place. This file, reign.go and reload.go are the only ones that
// know every part.
type daemon struct {
	clock   *hostclock.Clock
	speed   float64
	store   *sqlite.Store   // the files of the record; nil if nothing is kept
	whole   journal.Journal // all ways into it: store, or the log that several machines follow
	record  *audit.Journal  // over whole
	views   *audit.Views
	secure  *secure // nil for plain HTTP
	start   sample.Instant
	delay   prometheus.Histogram
	late    func(time.Duration)
	orders  *order.Desk // of exports; nil if nothing is kept, as are the three below
	stage   *order.Desk // of rehearsals
	links   *seatlink.Links
	access  *access.Access
	door    atomic.Pointer[http.Handler] // of the reign that answers
	erasing atomic.Pointer[erasing]      // what it ends for; nil for nothing
	log     *slog.Logger

	reloads sync.Mutex   // held by a reload
	gate    sync.RWMutex // held for reading by who puts a scan, for writing while reigns change; guards reign and running.at
	reign   *reign

	conn   *nats.Conn // to the servers of the log, where several machines keep the record; set before run
	inflow *inflow    // nil where no readings come through the log

	broker *listener           // nil if there is none; guarded by reloads, as is all below
	lines  map[string]*running // the bridges of the reign, by id
	group  *errgroup.Group     // of the parts; set by serve
	ctx    context.Context     // of group
}

// newDaemon builds a daemon whose clock runs speed times as fast as the host's.
// It starts nothing.
func newDaemon(ctx context.Context, c *config.Config, speed float64, stderr io.Writer) (*daemon, error) {
	return newDaemonAfter(ctx, c, speed, sample.Past, stderr)
}

// newDaemonAfter is newDaemon, but the clock shows nothing before an instant, as
// if a former daemon had gone on until then.
func newDaemonAfter(ctx context.Context, c *config.Config, speed float64, after sample.Instant, stderr io.Writer) (_ *daemon, err error) {
	store, err := openStore(ctx, c)
	switch {
	case err != nil:
		return nil, err
	case store == nil:
		return newDaemonOver(ctx, c, speed, after, nil, nil, stderr)
	}
	return newDaemonOver(ctx, c, speed, after, store, store, stderr)
}

// newDaemonOver is newDaemonAfter, with a record that is open: its files, and the way
// into it, which is closed with the daemon. Both are nil for one that keeps nothing.
func newDaemonOver(ctx context.Context, c *config.Config, speed float64, after sample.Instant, store *sqlite.Store, whole journal.Journal, stderr io.Writer) (_ *daemon, err error) {
	d := &daemon{speed: speed, log: newLog(stderr, c), lines: map[string]*running{}, store: store, whole: whole}
	d.delay, d.late = metrics.NewDelay()
	defer func() {
		if err != nil {
			err = errors.Join(err, d.closeRecord())
		}
	}()
	if d.store != nil {
		d.store.KeepMended(ctx, d.whole)
		d.record = audit.Over(d.whole)
		d.views = audit.NewViews(d.record, func() sample.Instant { return d.clock.Now() })
	}
	b, err := d.newBook(ctx, c)
	if err != nil {
		return nil, err
	}
	if d.secure, err = openSecure(c, d.log); err != nil {
		return nil, err
	}
	d.start = b.last()
	d.clock = hostclock.NewAfter(speed, max(after, d.start))
	if elsewhereRead(c) {
		d.inflow = newInflow(b.arrivals(c))
	} else if d.broker, err = newListener(c, d.clock.Now, d.log); err != nil {
		return nil, err
	}
	if err := d.let(ctx, c); err != nil {
		return nil, err
	}
	if d.store != nil {
		if d.links, err = seatlink.Read(ctx, d.record); err != nil {
			return nil, err
		}
		d.orders = order.New(filepath.Join(c.Data, exportsName), d.making(func(t *reign) order.Maker { return t.book.export(t.config) }))
		d.stage = order.New(filepath.Join(c.Data, rehearsalsName), d.making(func(t *reign) order.Maker { return t.book.rehearser(t.config) }))
	}
	d.reign, err = d.newReign(ctx, c, b, nil)
	return d, err
}

// making makes what people ordered by the reign that is in force when that begins.
func (d *daemon) making(by func(*reign) order.Maker) order.Maker {
	return func(ctx context.Context, a order.Ask, folder string, tell func(float64)) ([]order.File, []string, error) {
		return by(d.now())(ctx, a, folder, tell)
	}
}

// now returns the reign in force.
func (d *daemon) now() *reign {
	d.gate.RLock()
	defer d.gate.RUnlock()
	return d.reign
}

// run serves on l until ctx ends, and closes the record.
func (d *daemon) run(ctx context.Context, l net.Listener) error {
	if os.Getenv("GOGC") == "" { // who sets that knows better
		defer garbage.Bound()()
	}
	return errors.Join(d.serve(ctx, l), d.now().book.end(), d.closeRecord())
}

// serve is run, but leaves the record open.
func (d *daemon) serve(ctx context.Context, l net.Listener) error {
	d.group, d.ctx = errgroup.WithContext(ctx)
	group, ctx := d.group, d.ctx
	t := d.now()
	if err := d.connect(t); err != nil {
		return err
	}
	d.begin(t)
	if err := d.open(t); err != nil {
		group.Go(func() error { return err })
		return group.Wait()
	}
	for _, r := range t.bridges {
		r.launch(ctx, group)
	}
	if d.broker != nil {
		d.broker.launch(ctx, group)
	}
	if d.conn != nil {
		stop, err := afar.Answer(d.conn, t.config.Cluster.Record, func() ([]view.Place, *afar.Unkept) { return d.places(ctx), d.now().book.unkept() })
		if err != nil {
			return err
		}
		defer stop()
	}
	if d.inflow != nil {
		group.Go(func() error { return d.takeReadings(ctx) })
	}
	if d.store != nil {
		dir := t.config.Data
		group.Go(func() error { return d.views.Run(ctx) })
		group.Go(func() error { return d.orders.Run(ctx) })
		group.Go(func() error { return d.stage.Run(ctx) })
		group.Go(func() error { return d.answers(ctx, dir) })
	}
	group.Go(func() error { return t.pulses.manage(ctx, l.Addr().String(), d.log) })
	group.Go(func() error { return d.rereads(ctx) })
	group.Go(func() error {
		return webui.Serve(ctx, l, d.secure.config(), http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { (*d.door.Load()).ServeHTTP(w, r) }), d.log)
	})
	group.Go(func() error {
		return d.clock.Watch(ctx, time.Second, func(by, off time.Duration) {
			d.log.Warn("the host's clock stepped", slog.Duration("by", by), slog.Duration("off", off),
				slog.String("do", "durations are right all the same; start weald again when it suits, so that times of day are, and see who sets the clock"))
		})
	})
	if d.secure != nil {
		group.Go(func() error { return d.secure.Run(ctx) })
	}
	d.log.Info(sayLeaves(leaves(t.config)))
	d.log.Info("listening on " + d.secure.scheme() + l.Addr().String())
	return group.Wait()
}

// placesWithin is how long the loop may take to say how all places are.
const placesWithin = 2 * time.Second

// places returns how all places are now, for whoever shows them elsewhere; none where the
// loop does not answer.
func (d *daemon) places(ctx context.Context) (all []view.Place) {
	ctx, cancel := context.WithTimeout(ctx, placesWithin)
	defer cancel()
	t := d.now()
	for i := range t.config.Places {
		if t.pipe.Do(ctx, func(s *pipeline.State) { all = append(all, s.Place(i)) }) != nil {
			return nil
		}
	}
	return all
}

// listen opens the address of the pages.
func listen(address string) (net.Listener, error) {
	l, err := net.Listen("tcp", address)
	if err != nil {
		var op *net.OpError
		if errors.As(err, &op) {
			err = op.Err
		}
		return nil, fmt.Errorf("the pages cannot listen on %s: %w; is another weald running? \"web: {listen: …}\" in the configuration gives this one another address", address, err)
	}
	return l, nil
}

// newLog logs for people: no time, which the journal of the system adds, no line again and
// again, and which share of a configuration it is about.
func newLog(w io.Writer, c *config.Config) *slog.Logger {
	log := slog.New(calmlog.New(slog.NewTextHandler(w, &slog.HandlerOptions{ReplaceAttr: func(_ []string, a slog.Attr) slog.Attr {
		if a.Key == slog.TimeKey {
			return slog.Attr{}
		}
		return a
	}})))
	if share := c.Share(); share != "" {
		return log.With(slog.String("share", share))
	}
	return log
}
