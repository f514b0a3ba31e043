package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"strings"
	"sync/atomic"
	"time"

	"github.com/nats-io/nats.go"
	"golang.org/x/sync/errgroup"

	"weald/config"
	"weald/ingest/sample"
	"weald/stream/journal/replicated"
	"weald/stream/journal/sqlite"
	"weald/webui"
)

// A partner is this machine's part in a record that several machines keep. It stands by
// with a copy of all that the one has kept that does the work, and does it when its turn
// comes: as a start does, with that copy.
type partner struct {
	config  *config.Config
	conn    *nats.Conn
	options replicated.Options
	self    replicated.Holder
	trouble atomic.Pointer[string] // why it could not take over now; nil for nothing
	log     *slog.Logger
	stderr  io.Writer
}

// logKept is for how long the servers keep what all machines have read: one that was away
// for longer, and a new one, begin with a copy of another's record.
const logKept = 14 * 24 * time.Hour

func newPartner(c *config.Config, stderr io.Writer) (*partner, error) {
	p := &partner{
		config: c, stderr: stderr, log: newLog(stderr),
		options: replicated.Options{Name: c.Cluster.Record, Replicas: c.Cluster.Replicas, Keep: logKept},
		self:    replicated.Holder{Machine: c.Cluster.Machine, Pages: c.Cluster.Pages},
	}
	if p.self.Machine == "" {
		name, err := os.Hostname()
		if err != nil {
			return nil, fmt.Errorf("this machine has no name, give cluster.machine: %w", err)
		}
		p.self.Machine = name
	}
	options := []nats.Option{
		nats.Name("weald " + p.self.Machine), nats.MaxReconnects(-1), nats.ReconnectWait(time.Second), nats.RetryOnFailedConnect(true),
		nats.DisconnectErrHandler(func(_ *nats.Conn, err error) {
			if err != nil { // not closed by this side
				p.log.Warn("a server of the cluster is gone, and what is to be kept waits for another", slog.Any("error", err), slog.String("do", "see that a majority of them runs and can be reached from here"))
			}
		}),
		nats.ReconnectHandler(func(*nats.Conn) { p.log.Info("a server of the cluster is there again") }),
	}
	if c.Cluster.Credentials != "" {
		options = append(options, nats.UserCredentials(c.Cluster.Credentials))
	}
	if c.Cluster.CA != "" {
		options = append(options, nats.RootCAs(c.Cluster.CA))
	}
	conn, err := nats.Connect(strings.Join(c.Cluster.Servers, ","), options...)
	if err != nil {
		return nil, fmt.Errorf("cluster: %w", err)
	}
	p.conn = conn
	return p, nil
}

// runWithOthers is what `weald run` does where several machines keep the record.
func runWithOthers(ctx context.Context, c *config.Config, stderr io.Writer) error {
	p, err := newPartner(c, stderr)
	if err != nil {
		return err
	}
	defer p.conn.Close()
	for {
		err := p.turn(ctx)
		if ctx.Err() != nil || !errors.Is(err, replicated.ErrLost) && !errors.Is(err, replicated.ErrSuperseded) {
			return err
		}
		p.log.Warn("another machine does the work now, and this one stands by", slog.Any("why", err), slog.String("do", "nothing, if that was meant; else look at the network between this machine and the servers"))
	}
}

// errTurn ends standing by.
var errTurn = errors.New("it is this machine's turn")

// turn stands by until this machine is to do the work, and does it until another does.
func (p *partner) turn(ctx context.Context) error {
	lease, j, err := p.stand(ctx)
	if err != nil {
		return err
	}
	// The lease is kept for longer than the work: the next machine begins when this one
	// has written its last.
	keeping, release := context.WithCancel(context.WithoutCancel(ctx))
	work, stop := context.WithCancelCause(ctx)
	kept := make(chan struct{})
	go func() {
		defer close(kept)
		stop(lease.Keep(keeping))
	}()
	defer func() { release(); <-kept }()
	l, err := listen(p.config.Listen)
	if err != nil {
		return errors.Join(err, j.Close())
	}
	p.log.Info("this machine does the work now")
	d, err := newDaemonOver(work, p.config, 1, sample.Past, j.Store(), j, p.stderr)
	if err != nil {
		return errors.Join(err, l.Close())
	}
	return errors.Join(d.run(work, l), lost(work))
}

// lost returns why the work was ended by another machine, nil where it was not.
func lost(work context.Context) error {
	if cause := context.Cause(work); errors.Is(cause, replicated.ErrLost) {
		return cause
	}
	return nil
}

// stand serves the page of a machine that stands by until this machine has the lease, and
// the record with all that the one before it has written.
func (p *partner) stand(ctx context.Context) (lease *replicated.Lease, j *replicated.Journal, err error) {
	c := p.config // which rereads may replace
	l, err := listen(c.Listen)
	if err != nil {
		return nil, nil, err
	}
	secure, err := openSecure(c, p.log)
	if err != nil {
		return nil, nil, errors.Join(err, l.Close())
	}
	var seen atomic.Pointer[replicated.Lease]
	page := webui.Standby(webui.StandbyOptions{
		Machine: p.self.Machine, Version: build(), Hosts: c.Names,
		Trouble: func() string {
			if why := p.trouble.Load(); why != nil {
				return *why
			}
			return ""
		},
		Writer: func() *webui.Writer {
			if lease := seen.Load(); lease != nil {
				if h := lease.Holder(); h != nil {
					return &webui.Writer{Machine: h.Machine, Pages: h.Pages, Since: h.Since}
				}
			}
			return nil
		},
	})
	group, standing := errgroup.WithContext(ctx)
	group.Go(func() error { return webui.Serve(standing, l, secure.config(), page, p.log) })
	group.Go(func() error { return p.rereads(standing) })
	if secure != nil {
		group.Go(func() error { return secure.Run(standing) })
	}
	group.Go(func() error {
		p.cannot("it has not come to the end of what the others have written")
		if lease, err = again(standing, p, func() (*replicated.Lease, error) {
			return replicated.NewLease(standing, p.conn, p.options, p.self)
		}); err != nil {
			return err
		}
		seen.Store(lease)
		if j, err = again(standing, p, func() (*replicated.Journal, error) {
			return replicated.Open(standing, c.Data, sqlite.Options{}, p.conn, p.options)
		}); err != nil {
			return err
		}
		p.trouble.Store(nil)
		p.log.Info("standing by, listening on " + secure.scheme() + l.Addr().String())
		taking, cancel := context.WithCancelCause(standing)
		defer context.AfterFunc(j.Ended(), func() { cancel(context.Cause(j.Ended())) })()
		if err := lease.Take(taking); err != nil {
			return err
		}
		if err := j.Claim(taking); err != nil {
			return err
		}
		return errTurn
	})
	if err := group.Wait(); !errors.Is(err, errTurn) {
		if j != nil {
			err = errors.Join(err, j.Close())
		}
		return nil, nil, err
	}
	return lease, j, nil
}

// cannot notes why this machine could not take over now.
func (p *partner) cannot(why string) { p.trouble.Store(&why) }

// again tries until it succeeds, or fails for another reason than servers that are not
// there or have no majority.
func again[T any](ctx context.Context, p *partner, f func() (T, error)) (T, error) {
	for said := ""; ; {
		got, err := f()
		if err == nil || ctx.Err() != nil || !passing(err) {
			return got, cmp.Or(err, context.Cause(ctx))
		}
		if said != err.Error() {
			said = err.Error()
			p.cannot("the servers of the cluster do not answer")
			p.log.Warn("the servers of the cluster do not answer, and are asked again", slog.Any("error", err), slog.String("do", "see that a majority of them runs and can be reached from here"))
		}
		select {
		case <-time.After(time.Second):
		case <-ctx.Done():
			return got, context.Cause(ctx)
		}
	}
}

// passing reports whether an error of the cluster may go away by itself.
func passing(err error) bool {
	for _, one := range []error{nats.ErrTimeout, nats.ErrNoResponders, nats.ErrNoServers, nats.ErrConnectionReconnecting, nats.ErrDisconnected, context.DeadlineExceeded} {
		if errors.Is(err, one) {
			return true
		}
	}
	return false
}

// rereads reads the configuration anew whenever somebody sends SIGHUP, for when this
// machine's turn comes.
func (p *partner) rereads(ctx context.Context) error {
	return onHangup(ctx, func() {
		c, problems := config.Load(p.config.Path)
		err := problems.Err()
		if err == nil {
			err = fixed(p.config, c)
		}
		if err != nil {
			p.log.Error("the configuration is not applied, and the former one stays", slog.String("why", err.Error()), slog.String("do", "mend the file and send SIGHUP again"))
			return
		}
		p.config = c
		p.log.Info("the configuration is in force when this machine does the work")
	})
}
