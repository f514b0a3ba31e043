package main

import (
	"bytes"
	"context"
	"encoding/gob"
	"errors"
	"fmt"
	"time"

	"golang.org/x/sync/errgroup"

	"weald/config"
	"weald/ingest"
	"weald/ingest/sample"
	"weald/stream/hostclock"
	"weald/stream/journal/replicated"
	"weald/stream/record"
	"weald/stream/relay"
	"weald/webui"
)

// readingsKept is for how long readings wait in the log for a machine that judges them.
const readingsKept = 24 * time.Hour

// relayOf says through which stream the readings for a record go.
func relayOf(c *config.Config) relay.Options {
	return relay.Options{Name: c.Cluster.Record, Replicas: c.Cluster.Replicas, Keep: readingsKept}
}

// readerOf is the name under which machines agree which one reads the bridges.
func readerOf(c *config.Config) replicated.Options {
	return replicated.Options{Name: c.Cluster.Record + "_readings", Replicas: c.Cluster.Replicas}
}

// alone returns an error if another machine reads the bridges for whoever judges, as this
// one would: then everything would be read twice.
func (p *partner) alone(ctx context.Context) error {
	o := relayOf(p.config)
	there, err := again(ctx, p.log, p.cannot, func() (bool, error) { return o.Exists(ctx, p.machine.conn) })
	if err == nil && there {
		err = fmt.Errorf("readings of record %s come through the log, from a machine with the role ingest: give this one roles: [judge, serve], or, where no machine has that role any more, delete the stream %s", o.Name, o.Stream())
	}
	return err
}

// errReread ends reading so that it begins anew, by another file.
var errReread = errors.New("the configuration was read anew")

// read is what a machine does that has the role ingest and not judge: it reads the bridges
// while it has the lease of that, and hands their readings on.
func (p *partner) read(ctx context.Context) error {
	c := p.config
	face, err := openFace(c, p.log)
	if err != nil {
		return err
	}
	page := webui.Standby(webui.StandbyOptions{
		Machine: p.self.Machine, Share: c.Share(), Reads: true, Version: build(), Hosts: c.Names, Trouble: p.why, Writer: p.writer,
	})
	group, ctx := errgroup.WithContext(ctx)
	face.serve(ctx, group, page)
	group.Go(func() error { return p.rereads(ctx) })
	group.Go(func() error {
		lease, err := again(ctx, p.log, p.cannot, func() (*replicated.Lease, error) {
			return replicated.NewLease(ctx, p.machine.conn, readerOf(c), p.self, p.machine.roster)
		})
		if err != nil {
			return err
		}
		p.lease.Store(lease)
		p.log.Info("standing by, listening on " + face.address())
		for {
			p.trouble.Store(nil) // what was left from the last time would keep it from all further turns
			if err := lease.Take(ctx, func() bool { return p.why() == "" }); err != nil {
				return err
			}
			err := p.readOn(ctx, lease)
			if ctx.Err() != nil || !lostTo(err) {
				return err
			}
			p.parted(err)
		}
	})
	return group.Wait()
}

// readOn reads the bridges for as long as this machine has the lease.
func (p *partner) readOn(ctx context.Context, lease *replicated.Lease) error {
	keeping, release := context.WithCancel(context.WithoutCancel(ctx))
	ctx, stop := context.WithCancelCause(ctx)
	kept := make(chan struct{})
	go func() {
		defer close(kept)
		stop(lease.Keep(keeping, stop))
	}()
	defer func() { release(); <-kept }()
	p.log.Info("this machine reads the bridges now")
	for {
		work, stop := context.WithCancelCause(ctx)
		p.reread.Store(&stop)
		if err := p.readBy(work, p.config); !errors.Is(context.Cause(work), errReread) {
			return errors.Join(err, lost(ctx))
		}
	}
}

// readBy reads the bridges of a configuration until ctx ends.
func (p *partner) readBy(ctx context.Context, c *config.Config) error {
	w, err := again(ctx, p.log, p.cannot, func() (*relay.Writer, error) { return relay.NewWriter(ctx, p.machine.conn, relayOf(c), p.log) })
	if err != nil {
		return err
	}
	p.trouble.Store(nil)
	clock := hostclock.NewAfter(1, w.Last())
	broker, err := newListener(c, clock.Now, p.log)
	if err != nil {
		return err
	}
	group, ctx := errgroup.WithContext(ctx)
	var bridges []*running
	for i := range c.Bridges {
		b := &c.Bridges[i]
		way, err := wayOf(b, broker, 1, p.log)
		if err != nil {
			return err
		}
		bridge := bridgeOf(c, b, way.link)
		for k := range bridge.Sources {
			bridge.Sources[k].Index = k
		}
		r := &running{way: way, spec: *b}
		if r.line, err = ingest.New(bridge, ingest.Options{Now: clock.Now, Log: p.log, Out: func(s *sample.Scan) { r.handOn(ctx, w, s) }}); err != nil {
			return err
		}
		bridges = append(bridges, r)
	}
	group.Go(func() error { return w.Run(ctx) })
	if broker != nil {
		broker.launch(ctx, group)
	}
	for _, r := range bridges {
		group.Go(func() error { return r.Run(ctx) })
	}
	group.Go(func() error { return p.tell(ctx, bridges) })
	return group.Wait()
}

// handOn gives a scan to whoever judges. Where the link acknowledges frames it returns when
// the scan is safe.
func (r *running) handOn(ctx context.Context, w *relay.Writer, s *sample.Scan) {
	safe, err := w.Put(ctx, r.spec.Sources[s.Source].ID, record.ScanOf(s, nil))
	if err != nil || !r.acknowledges() {
		return // it fails only when everything ends
	}
	select {
	case <-safe:
	case <-ctx.Done(): // after which nothing is acknowledged any more
	}
}

// tell says every second how the bridges are, to whoever judges.
func (p *partner) tell(ctx context.Context, bridges []*running) error {
	for {
		for _, r := range bridges {
			var b bytes.Buffer
			if err := gob.NewEncoder(&b).Encode(r.Status()); err != nil {
				return err
			}
			_ = relay.Tell(p.machine.conn, relayOf(p.config), r.spec.ID, b.Bytes())
		}
		select {
		case <-time.After(time.Second):
		case <-ctx.Done():
			return context.Cause(ctx)
		}
	}
}
