package main

import (
	"context"
	"errors"
	"path/filepath"
	"time"

	"golang.org/x/sync/errgroup"

	"weald/stream/afar"
	"weald/stream/journal/replicated"
	"weald/stream/journal/replicated/bedside"
	"weald/stream/journal/sqlite"
	"weald/webui"
)

// logName is the folder in data of a machine whose log is its own.
const logName = "log"

// ownLog starts the server of this machine's own log.
func (m *machine) ownLog() (*bedside.Server, error) {
	c := m.config
	o := bedside.Options{
		Dir: filepath.Join(c.Data, logName), Machine: m.name, Domain: c.Cluster.Domain, Centre: c.Cluster.Servers,
		CA: c.Cluster.CA, Log: m.log,
	}
	if file := c.Cluster.Credentials; file != "" {
		switch token, err := tokenIn(file); {
		case err != nil:
			return nil, err
		case token:
			o.Credentials = file
		default:
			o.Key = file
		}
	}
	return bedside.Serve(o)
}

// show is what a machine does at a centre that shows what a ward writes: it follows the
// ward's log into a copy of the record, whenever there is a link, and serves what that says.
func (p *partner) show(ctx context.Context) error {
	c := p.config
	face, err := openFace(c, p.log)
	if err != nil {
		return err
	}
	ward := afar.New(time.Now)
	page := webui.Afar(webui.AfarOptions{Ward: c.Cluster.Record, Version: build(), Look: ward.Look, Trouble: p.why, Hosts: c.Names})
	p.log.Info("listening on " + face.address())
	group, ctx := errgroup.WithContext(ctx)
	face.serve(ctx, group, page)
	group.Go(func() error { return p.rereads(ctx) })
	group.Go(func() error {
		p.cannot("its servers have not been reached since this machine was started for the first time")
		j, err := again(ctx, p.log, p.cannot, func() (*replicated.Journal, error) {
			return replicated.Open(ctx, c.Data, sqlite.Options{}, p.machine.conn, p.options)
		})
		if err != nil {
			return err
		}
		p.trouble.Store(nil)
		following, ctx := errgroup.WithContext(ctx)
		following.Go(func() error { return j.Tend(ctx, p.machine.conn, ward.Reached) })
		following.Go(func() error { return ward.Follow(ctx, j) })
		following.Go(func() error {
			select {
			case <-j.Ended().Done():
				return context.Cause(j.Ended())
			case <-ctx.Done():
				return context.Cause(ctx)
			}
		})
		return errors.Join(following.Wait(), j.Close())
	})
	return group.Wait()
}
