package main

import (
	"context"
	"log/slog"
	"sync"

	"github.com/nats-io/nats.go"
	"golang.org/x/sync/errgroup"

	"weald/config"
	"weald/ingest"
	"weald/ingest/sample"
	"weald/stream/hostclock"
	"weald/stream/record"
	"weald/stream/relay"
)

// A reading is what a machine with the role ingest does while it has the lease: it reads the
// bridges of a configuration, and hands their readings on.
type reading struct {
	writer *relay.Writer
	conn   *nats.Conn
	clock  *hostclock.Clock
	log    *slog.Logger
	group  *errgroup.Group
	ctx    context.Context // of group
	asks   chan change
	over   chan struct{} // closed when all of it has ended

	broker *listener // by one goroutine at a time: who begins, and then changes

	mu     sync.Mutex
	config *config.Config      // guarded by mu, as is all below
	lines  map[string]*running // the bridges of config, by id
	laid   map[string]string   // how their channels are laid out, as shapeOf has it
	layout int                 // number of the layout in force
}

// A change is a configuration that is to come into force, and where what became of that is said.
type change struct {
	config *config.Config
	done   chan error
}

// readBy reads the bridges until ctx ends.
func (p *partner) readBy(ctx context.Context) error {
	o := relayOf(p.now())
	w, err := again(ctx, p.log, p.cannot, func() (*relay.Writer, error) { return relay.NewWriter(ctx, p.machine.conn, o, p.log) })
	if err != nil {
		return err
	}
	p.trouble.Store(nil)
	g := &reading{
		writer: w, conn: p.machine.conn, clock: hostclock.NewAfter(1, w.Last()), log: p.log,
		asks: make(chan change), over: make(chan struct{}),
	}
	g.group, g.ctx = errgroup.WithContext(ctx)
	c := p.reads(g)
	defer func() { p.reads(nil); close(g.over) }()
	g.group.Go(func() error { return w.Run(g.ctx) })
	g.group.Go(func() error {
		if err := g.begin(c); err != nil {
			return err
		}
		g.group.Go(func() error { return g.tell(o) })
		return g.changes()
	})
	return g.group.Wait()
}

// reads notes what reads the bridges from now on, nil for nothing, and returns the
// configuration that is in force.
func (p *partner) reads(g *reading) *config.Config {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.reading = g
	return p.config
}

func (g *reading) begin(c *config.Config) (err error) {
	if g.broker, err = newListener(c, g.clock.Now, g.log); err != nil {
		return err
	}
	if g.broker != nil {
		g.broker.launch(g.ctx, g.group)
	}
	return g.open(c, map[string]*running{})
}

// open reads the bridges of a configuration, of which those in lines are read already.
func (g *reading) open(c *config.Config, lines map[string]*running) error {
	all, laid := membersOf(c.Plan()), map[string]string{}
	all.layout = g.layout + 1
	for i := range c.Bridges {
		b := &c.Bridges[i]
		at := make([]int, len(b.Sources))
		for k := range at {
			at[k] = b.Sources[k].Index
		}
		layouts := all.layouts(at)
		laid[b.ID] = shapeOf(layouts)
		if r := lines[b.ID]; r != nil {
			r.Lay(layouts)
			continue
		}
		way, err := wayOf(b, g.broker, 1, g.log)
		if err != nil {
			return err
		}
		bridge := all.bridge(b, way.link)
		for k := range bridge.Sources {
			bridge.Sources[k].Index = k
			bridge.Sources[k].Heard = g.writer.Heard(bridge.Sources[k].ID)
		}
		r := &running{way: way, spec: *b}
		if r.line, err = ingest.New(bridge, ingest.Options{Now: g.clock.Now, Log: g.log, Out: func(s *sample.Scan) { r.handOn(g.writer, s) }}); err != nil {
			return err
		}
		r.Lay(layouts)
		r.launch(g.ctx, g.group)
		lines[b.ID] = r
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	g.config, g.lines, g.laid, g.layout = c, lines, laid, all.layout
	return nil
}

// changes puts configurations into force that are asked for, until everything ends.
func (g *reading) changes() error {
	for {
		select {
		case a := <-g.asks:
			failed, err := g.apply(a.config)
			a.done <- err
			if failed {
				return err
			}
		case <-g.ctx.Done():
			return context.Cause(g.ctx)
		}
	}
}

// apply puts another configuration into force, if it can be: bridges that are as before are
// read on. Failed says that nothing is as before, and cannot be mended: what was tried out
// has not worked all the same.
func (g *reading) apply(c *config.Config) (failed bool, err error) {
	old := g.config
	broker, err := prepare(g.ctx, old, c, g.broker, g.clock.Now, 1, g.log)
	if err != nil {
		return false, err
	}
	lines := map[string]*running{}
	for id, r := range g.lines {
		if stays(old, c, id) {
			lines[id] = r
			continue
		}
		r.stop()
		<-r.done
	}
	if broker != g.broker {
		g.broker.end()
		if g.broker = broker; broker != nil {
			broker.launch(g.ctx, g.group)
		}
	}
	if err := g.open(c, lines); err != nil {
		return true, err
	}
	return false, nil
}

// ask has another configuration put into force. Over says that nothing is read any more,
// and nothing was done.
func (g *reading) ask(c *config.Config) (over bool, err error) {
	a := change{c, make(chan error, 1)}
	select {
	case g.asks <- a:
		return false, <-a.done
	case <-g.ctx.Done():
		<-g.over
		return true, nil
	}
}

// handOn gives a scan to whoever judges. Where the link acknowledges frames it returns when
// the scan is safe.
func (r *running) handOn(w *relay.Writer, s *sample.Scan) {
	safe, err := w.Put(r.ctx, r.spec.Sources[s.Source].ID, record.ScanOf(s, nil))
	if err != nil || !r.acknowledges() {
		return // it fails only when the bridge ends
	}
	select {
	case <-safe:
	case <-r.ctx.Done(): // after which nothing is acknowledged any more
	}
}
