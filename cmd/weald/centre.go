package main

import (
	"context"
	"errors"
	"log/slog"
	"path/filepath"
	"time"

	"golang.org/x/sync/errgroup"

	"weald/stream/afar"
	"weald/stream/journal"
	"weald/stream/journal/replicated"
	"weald/stream/journal/replicated/bedside"
	"weald/stream/journal/sqlite"
	"weald/stream/record"
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

// lateName is the file in data with which alerts became known late at a centre.
const lateName = "known-late.json"

// show is what a machine does that only shows what another writes, at a centre or beside
// it: it follows that one's log into a copy of the record, whenever there is a link, and
// serves what that says.
func (p *partner) show(ctx context.Context) error {
	c := p.now()
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
	group.Go(func() error { return ward.Ask(ctx, p.machine.conn, c.Cluster.Record) })
	group.Go(func() error {
		p.cannot("its servers have not been reached since this machine was started for the first time")
		j, err := again(ctx, p.log, p.cannot, func() (*replicated.Journal, error) {
			return replicated.Open(ctx, c.Data, sqlite.Options{}, p.machine.conn, p.options)
		})
		if err == nil {
			err = p.follow(ctx, ward, j)
		}
		if ctx.Err() != nil || !errors.Is(err, journal.ErrForeign) && !errors.Is(err, journal.ErrBroken) && !errors.Is(err, record.ErrNewer) {
			return err
		}
		// A page that says why it knows nothing is more than none.
		p.cannot(err.Error())
		p.log.Error("nothing more comes of the ward that is shown here", slog.Any("why", err), slog.String("do", "do what it says, and start weald again; ask at the ward meanwhile"))
		<-ctx.Done()
		return context.Cause(ctx)
	})
	return group.Wait()
}

// follow tells what a copy of the ward's record has to who shows it, until ctx ends or
// nothing more can come.
func (p *partner) follow(ctx context.Context, ward *afar.Ward, j *replicated.Journal) error {
	ward.KeepLate(filepath.Join(p.now().Data, lateName), j.Log(), func(err error) {
		p.log.Warn("which alerts became known late is not kept, and may be lost when weald is started again", slog.Any("error", err), slog.String("do", "see that there is room for the file, and that this account may write it"))
	})
	p.copy.Store(j)
	defer p.copy.Store(nil)
	p.trouble.Store(nil)
	group, ctx := errgroup.WithContext(ctx)
	group.Go(func() error {
		return j.Tend(ctx, p.machine.conn, func(s replicated.Sight) {
			if s.Reached && p.options.Domain == "" && !ward.Answers() {
				s.Reached = false // a log into which nobody writes has no alerts
				p.cannot("no machine is heard that judges it")
			} else {
				p.trouble.Store(nil)
			}
			ward.Sighted(afar.Sight{At: s.At, Reached: s.Reached, Behind: s.Behind, Through: s.Head.Position})
		})
	})
	group.Go(func() error { return ward.Follow(ctx, j) })
	group.Go(func() error {
		select {
		case <-j.Ended().Done():
			return context.Cause(j.Ended())
		case <-ctx.Done():
			return context.Cause(ctx)
		}
	})
	return errors.Join(group.Wait(), j.Close())
}
