package main

import (
	"cmp"
	"context"
	"errors"
	"log/slog"
	"time"

	"weald/stream/journal"
	"weald/stream/journal/replicated"
	"weald/stream/journal/sqlite"
)

// relieved does work until that ends, or until another machine takes it over because the disk
// of this one is full: replicated.ErrRelieved then, beside what work returned.
func (p *partner) relieved(ctx context.Context, j *replicated.Journal, work func(context.Context) error) error {
	ctx, stop := context.WithCancelCause(ctx)
	asked := make(chan struct{})
	go func() {
		defer close(asked)
		stop(j.Relieve(ctx, p.machine.conn))
	}()
	err := work(ctx)
	stop(nil)
	<-asked
	if why := context.Cause(ctx); errors.Is(why, replicated.ErrRelieved) {
		err = errors.Join(err, why)
	}
	return err
}

// openCopy opens this machine's copy of the record, and returns when it has all that was in
// the log. What keeps it from that is said where people look, a full disk too: a machine that
// has just given way to another is not to end for it. Who has the lease is looked at meanwhile.
func (p *partner) openCopy(ctx context.Context, dir string, lease *replicated.Lease) (*replicated.Journal, error) {
	const behind = "it has not come to the end of what the others have written"
	looking, stop := context.WithCancel(ctx)
	looked := make(chan struct{})
	go func() {
		defer close(looked)
		_ = lease.Take(looking, func() bool { return false }) // it ends when it is ended
	}()
	defer func() { stop(); <-looked }()
	o := p.options
	o.Waits = func(why string) { p.cannot(cmp.Or(why, behind)) }
	for said := false; ; said = true {
		p.cannot(behind)
		j, err := again(ctx, p.log, p.cannot, func() (*replicated.Journal, error) {
			return replicated.Open(ctx, dir, sqlite.Options{}, p.machine.conn, o)
		})
		if !errors.Is(err, journal.ErrFull) || ctx.Err() != nil {
			return j, err
		}
		p.cannot(err.Error())
		if !said {
			p.log.Warn("this machine has no room for its copy of the record, and tries again", slog.Any("error", err), slog.String("do", "make room"))
		}
		select {
		case <-time.After(time.Second):
		case <-ctx.Done():
			return nil, context.Cause(ctx)
		}
	}
}
