package main

import (
	"cmp"
	"context"
	"errors"
	"log/slog"
	"sync/atomic"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
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
	machine *machine
	options replicated.Options
	self    replicated.Holder
	copy    atomic.Pointer[replicated.Journal]      // while it stands by with all that there is
	trouble atomic.Pointer[string]                  // why it could not take over now; nil for nothing
	lease   atomic.Pointer[replicated.Lease]        // nil before it has one to look at
	daemon  atomic.Pointer[daemon]                  // nil while it stands by
	reread  atomic.Pointer[context.CancelCauseFunc] // ends reading by a former configuration; nil where it reads no bridges
	log     *slog.Logger
}

// logKept is for how long the servers keep what all machines have read: one that was away
// for longer, and a new one, begin with a copy of another's record.
const logKept = 14 * 24 * time.Hour

func (m *machine) partner(c *config.Config) *partner {
	p := &partner{
		config: c, machine: m, log: newLog(m.stderr, c),
		options: replicated.Options{Name: c.Cluster.Record, Replicas: c.Cluster.Replicas, Keep: logKept},
		self:    replicated.Holder{Machine: m.name, Pages: c.Cluster.Pages},
	}
	if c.Cluster.Shows {
		p.options.Domain = c.Cluster.Domain
	}
	p.cannot("it begins")
	return p
}

// takeTurns stands by and works in turns, until ctx ends or neither is possible any more.
func (p *partner) takeTurns(ctx context.Context) error {
	for {
		err := p.turn(ctx)
		if ctx.Err() != nil || !lostTo(err) {
			return err
		}
		p.parted(err)
	}
}

// parted says why this machine stands by from now on.
func (p *partner) parted(why error) {
	if errors.Is(why, replicated.ErrYielded) {
		p.log.Info("another machine takes this over, as it has less to do")
		return
	}
	p.log.Warn("another machine does the work now, and this one stands by", slog.Any("why", why), slog.String("do", "nothing, if that was meant; else look at the network between this machine and the servers"))
}

// lostTo reports whether an error says that another machine is to do the work.
func lostTo(err error) bool {
	return errors.Is(err, replicated.ErrLost) || errors.Is(err, replicated.ErrSuperseded) || errors.Is(err, replicated.ErrYielded)
}

// errTurn ends standing by.
var errTurn = errors.New("it is this machine's turn")

// turn stands by until this machine is to do the work, and does it until another does.
func (p *partner) turn(ctx context.Context) error {
	switch {
	case p.config.Cluster.Shows:
		return p.show(ctx)
	case !p.config.Cluster.Judges:
		return p.read(ctx)
	}
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
		stop(lease.Keep(keeping, stop))
	}()
	defer func() { release(); <-kept }()
	l, err := listen(p.config.Listen)
	if err != nil {
		return errors.Join(err, j.Close())
	}
	p.log.Info("this machine does the work now")
	d, err := newDaemonOver(work, p.config, 1, sample.Past, j.Store(), j, p.machine.stderr)
	if err != nil {
		return errors.Join(err, l.Close())
	}
	d.conn = p.machine.conn
	p.daemon.Store(d)
	defer p.daemon.Store(nil)
	err = d.run(work, l)
	p.config = d.now().config // which may have been reloaded
	return errors.Join(err, lost(work))
}

// lost returns why the work was ended by another machine, nil where it was not.
func lost(work context.Context) error {
	if cause := context.Cause(work); lostTo(cause) {
		return cause
	}
	return nil
}

// stand serves the page of a machine that stands by until this machine has the lease, and
// the record with all that the one before it has written.
func (p *partner) stand(ctx context.Context) (lease *replicated.Lease, j *replicated.Journal, err error) {
	c := p.config // which rereads may replace
	face, err := openFace(c, p.log)
	if err != nil {
		return nil, nil, err
	}
	page := webui.Standby(webui.StandbyOptions{
		Machine: p.self.Machine, Share: c.Share(), Version: build(), Hosts: c.Names, Trouble: p.why, Writer: p.writer,
	})
	group, standing := errgroup.WithContext(ctx)
	face.serve(standing, group, page)
	group.Go(func() error { return p.rereads(standing) })
	group.Go(func() error {
		p.cannot("it has not come to the end of what the others have written")
		if lease, err = again(standing, p.log, p.cannot, func() (*replicated.Lease, error) {
			return replicated.NewLease(standing, p.machine.conn, p.options, p.self, p.machine.roster)
		}); err != nil {
			return err
		}
		p.lease.Store(lease)
		if j, err = again(standing, p.log, p.cannot, func() (*replicated.Journal, error) {
			return replicated.Open(standing, c.Data, sqlite.Options{}, p.machine.conn, p.options)
		}); err != nil {
			return err
		}
		if c.Cluster.Reads {
			if err := p.alone(standing); err != nil {
				return err
			}
		}
		p.copy.Store(j)
		defer p.copy.Store(nil)
		p.trouble.Store(nil)
		p.log.Info("standing by, listening on " + face.address())
		taking, cancel := context.WithCancelCause(standing)
		defer context.AfterFunc(j.Ended(), func() { cancel(context.Cause(j.Ended())) })()
		if err := lease.Take(taking, func() bool { return j.Trouble() == "" }); err != nil {
			return err
		}
		if err := j.Claim(taking); err != nil {
			return err
		}
		return errTurn
	})
	if err := group.Wait(); !errors.Is(err, errTurn) {
		if lease != nil {
			lease.GiveBack()
		}
		if j != nil {
			err = errors.Join(err, j.Close())
		}
		return nil, nil, err
	}
	return lease, j, nil
}

// cannot notes why this machine could not take over now.
func (p *partner) cannot(why string) { p.trouble.Store(&why) }

// why says why this machine could not take over now, "" for nothing.
func (p *partner) why() string {
	if why := p.trouble.Load(); why != nil {
		return *why
	}
	if j := p.copy.Load(); j != nil {
		return j.Trouble()
	}
	return ""
}

// writer is the machine that does the work, as far as this one knows.
func (p *partner) writer() *webui.Writer {
	if lease := p.lease.Load(); lease != nil {
		if h := lease.Holder(); h != nil {
			return &webui.Writer{Machine: h.Machine, Pages: h.Pages, Since: h.Since}
		}
	}
	return nil
}

// again tries until it succeeds, or fails for another reason than servers that are not
// there or have no majority, which cannot is told.
func again[T any](ctx context.Context, log *slog.Logger, cannot func(string), f func() (T, error)) (T, error) {
	for said := ""; ; {
		got, err := f()
		if err == nil || ctx.Err() != nil || !passing(err) {
			return got, cmp.Or(err, context.Cause(ctx))
		}
		if said != err.Error() {
			said = err.Error()
			cannot("the servers of the cluster do not answer")
			log.Warn("the servers of the cluster do not answer, and are asked again", slog.Any("error", err), slog.String("do", "see that a majority of them runs and can be reached from here"))
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
	for _, one := range []error{jetstream.ErrJetStreamNotEnabled, jetstream.ErrStreamNotFound, nats.ErrTimeout, nats.ErrNoResponders, nats.ErrNoServers, nats.ErrConnectionReconnecting, nats.ErrDisconnected, context.DeadlineExceeded} {
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
		if again := p.reread.Load(); again != nil {
			(*again)(errReread)
		}
		p.log.Info("the configuration is in force when this machine does the work")
	})
}
