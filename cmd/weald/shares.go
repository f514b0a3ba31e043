package main

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"slices"
	"sync/atomic"

	"golang.org/x/sync/errgroup"

	"weald/config"
	"weald/stream/journal/replicated"
	"weald/webui"
)

// carry stands by for all shares of the configuration and works for those that are this
// machine's, and serves a page that says where each is. A share that this machine cannot
// go on with is left to others.
func (m *machine) carry(ctx context.Context) error {
	c := m.config
	face, err := openFace(c, m.log)
	if err != nil {
		return err
	}
	page := webui.SharesOptions{Machine: m.name, Reads: !c.Cluster.Judges, Version: build(), Hosts: c.Names}
	for i, p := range m.partners {
		part := p.now()
		page.Shares = append(page.Shares, webui.Share{ID: part.Share(), Places: placeIDs(part), Port: portOf(c.Cluster.Shares[i].Listen), Writer: p.writer, Trouble: p.why})
	}
	m.log.Info("listening on " + face.address())
	group, ctx := errgroup.WithContext(ctx)
	face.serve(ctx, group, webui.Shares(page))
	group.Go(func() error { return onHangup(ctx, m.compare) })
	group.Go(func() error {
		m.roster, err = again(ctx, m.log, m.cannot, func() (*replicated.Roster, error) {
			o := replicated.Options{Name: c.Cluster.Record, Replicas: c.Cluster.Replicas}
			if !c.Cluster.Judges {
				o = readerOf(c)
			}
			return replicated.NewRoster(ctx, m.conn, o, len(m.partners))
		})
		if err != nil {
			return err
		}
		var failed atomic.Int32
		for _, p := range m.partners {
			group.Go(func() error {
				err := p.takeTurns(ctx)
				if ctx.Err() != nil || int(failed.Add(1)) == len(m.partners) {
					return err
				}
				p.cannot(fmt.Sprintf("it has failed with %v", err))
				p.log.Error("this machine cannot go on with a share, and leaves it to others", slog.Any("error", err), slog.String("do", "mend that, and start weald again"))
				return nil
			})
		}
		return m.roster.Run(ctx, m.able)
	})
	return group.Wait()
}

// able reports whether this machine could take over any of the shares.
func (m *machine) able() bool {
	return !slices.ContainsFunc(m.partners, func(p *partner) bool { return p.why() != "" })
}

func (m *machine) cannot(why string) {
	for _, p := range m.partners {
		p.cannot(why)
	}
}

// compare says what a file that was changed would need a restart for. What it says of each
// share comes into force with that.
func (m *machine) compare() {
	c, problems := config.Load(m.config.Path)
	if len(problems) > 0 {
		return // which each share says
	}
	type face struct{ id, listen string }
	faces := func(c *config.Config) (out []face) {
		if c.Cluster != nil {
			for _, s := range c.Cluster.Shares {
				out = append(out, face{s.ID, s.Listen})
			}
		}
		return out
	}
	if !slices.Equal(faces(m.config), faces(c)) {
		m.log.Error("the shares are others in the file, and stay as they are", slog.String("do", "restart weald on every machine for it"))
	}
}

func placeIDs(c *config.Config) (ids []string) {
	for i := range c.Places {
		ids = append(ids, c.Places[i].ID)
	}
	return ids
}

func portOf(address string) string {
	_, port, _ := net.SplitHostPort(address)
	return port
}
