package main

import (
	"context"
	"fmt"
	"time"

	"golang.org/x/sync/errgroup"

	"weald/config"
	"weald/stream/journal/replicated"
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
	o := relayOf(p.now())
	there, err := again(ctx, p.log, p.cannot, func() (bool, error) { return o.Exists(ctx, p.machine.conn) })
	if err == nil && there {
		err = fmt.Errorf("readings of record %s come through the log, from a machine with the role ingest: give this one roles: [judge, serve], or, where no machine has that role any more, delete the stream %s", o.Name, o.Stream())
	}
	return err
}

// read is what a machine does that has the role ingest and not judge: it reads the bridges
// while it has the lease of that, and hands their readings on.
func (p *partner) read(ctx context.Context) error {
	c := p.now()
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
			err := lease.Hold(ctx, func(ctx context.Context) error {
				p.log.Info("this machine reads the bridges now")
				return p.readBy(ctx)
			})
			if ctx.Err() != nil || !p.standsBy(err) {
				return err
			}
		}
	})
	return group.Wait()
}
