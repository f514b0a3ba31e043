package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"golang.org/x/sync/errgroup"

	"weald/config"
	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/journal/replicated"
	"weald/stream/journal/replicated/patience"
	"weald/stream/relay"
	"weald/webui"
)

// A partner is this machine's part in a record that several machines keep. It stands by
// with a copy of all that the one has kept that does the work, and does it when its turn
// comes: as a start does, with that copy.
type partner struct {
	machine *machine
	options replicated.Options
	self    replicated.Holder
	copy    atomic.Pointer[replicated.Journal] // while it stands by with all that there is
	trouble atomic.Pointer[string]             // why it could not take over now; nil for nothing
	unfit   atomic.Pointer[string]             // why it cannot do the work before it is started anew; nil for nothing
	lease   atomic.Pointer[replicated.Lease]   // nil before it has one to look at
	daemon  atomic.Pointer[daemon]             // nil while it stands by
	log     *slog.Logger

	mu      sync.Mutex
	config  *config.Config // in force here, or from this machine's turn on; guarded by mu, as is all below
	reading *reading       // nil where it reads no bridges for others
}

// now returns the configuration that is in force.
func (p *partner) now() *config.Config {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.config
}

func (p *partner) set(c *config.Config) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.config = c
}

// logKept is for how long the servers keep what all machines have read: one that was away
// for longer, and a new one, begin with a copy of another's record.
const logKept = 14 * 24 * time.Hour

func (m *machine) partner(c *config.Config) *partner {
	p := &partner{
		config: c, machine: m, log: newLog(m.stderr, c),
		options: replicated.Options{Name: c.Cluster.Record, Replicas: c.Cluster.Replicas, Keep: logKept, Within: patience.SaidAfter},
		self:    replicated.Holder{Machine: m.name, Pages: c.Cluster.Pages},
	}
	if c.Cluster.Shows {
		p.options.Domain, p.options.Follows = c.Cluster.Domain, true
	}
	p.cannot("it begins")
	return p
}

// takeTurns stands by and works in turns, until ctx ends or neither is possible any more.
func (p *partner) takeTurns(ctx context.Context) error {
	for {
		if err := p.turn(ctx); ctx.Err() != nil || !p.standsBy(err) {
			return err
		}
	}
}

// standsBy reports whether this machine stands by after what has ended its work, and says
// why.
func (p *partner) standsBy(err error) bool {
	switch {
	case errors.Is(err, relay.ErrNewer):
		why := fmt.Sprintf("%v: install that version here", relay.ErrNewer)
		p.unfit.Store(&why)
		p.log.Error("this machine stops, and leaves the work to others, as it would leave readings out", slog.Any("error", err), slog.String("do", "install the version of weald that the machines with the role ingest have, and start weald again"))
	case lostTo(err):
		p.parted(err)
	case errors.Is(err, journal.ErrUnreached):
		p.log.Warn("this machine cannot begin with the work, and stands by until it can", slog.Any("error", err), slog.String("do", "see that a majority of the servers of the log runs and can be reached from here"))
	default:
		return false
	}
	return true
}

// parted says why this machine stands by from now on.
func (p *partner) parted(why error) {
	if errors.Is(why, replicated.ErrYielded) {
		p.log.Info("another machine takes this over, as it has less to do")
		return
	}
	if errors.Is(why, replicated.ErrRelieved) {
		p.log.Warn("this machine has no room for the record, and another takes over that has", slog.Any("why", why), slog.String("do", "make room: this machine stands by until then, and takes in by itself what it has missed"))
		return
	}
	p.log.Warn("another machine does the work now, and this one stands by", slog.Any("why", why), slog.String("do", "nothing, if that was meant; else look at the network between this machine and the servers"))
}

// lostTo reports whether an error says that another machine is to do the work.
func lostTo(err error) bool {
	return errors.Is(err, replicated.ErrLost) || errors.Is(err, replicated.ErrSuperseded) || errors.Is(err, replicated.ErrYielded) || errors.Is(err, replicated.ErrRelieved) || errors.Is(err, relay.ErrLost)
}

// errTurn ends standing by.
var errTurn = errors.New("it is this machine's turn")

// turn stands by until this machine is to do the work, and does it until another does.
func (p *partner) turn(ctx context.Context) error {
	switch c := p.now().Cluster; {
	case c.Shows:
		return p.show(ctx)
	case !c.Judges:
		return p.read(ctx)
	}
	lease, j, err := p.stand(ctx)
	if err != nil {
		return err
	}
	return lease.Hold(ctx, func(ctx context.Context) error {
		return p.relieved(ctx, j, func(ctx context.Context) error { return p.work(ctx, j) })
	})
}

// work does the work until ctx ends, and closes the record.
func (p *partner) work(ctx context.Context, j *replicated.Journal) error {
	c := p.now()
	l, err := listen(c.Listen)
	if err != nil {
		return errors.Join(err, j.Close())
	}
	p.log.Info("this machine does the work now")
	d, err := newDaemonOver(ctx, c, 1, sample.Past, j.Store(), j, p.machine.stderr)
	if err != nil {
		return errors.Join(err, l.Close())
	}
	d.conn = p.machine.conn
	p.daemon.Store(d)
	defer p.daemon.Store(nil)
	err = d.run(ctx, l)
	p.set(d.now().config) // which may have been reloaded
	return err
}

// stand serves the page of a machine that stands by until this machine has the lease, and
// the record with all that the one before it has written.
func (p *partner) stand(ctx context.Context) (lease *replicated.Lease, j *replicated.Journal, err error) {
	c := p.now()
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
		p.cannot("it begins")
		if lease, err = again(standing, p.log, p.cannot, func() (*replicated.Lease, error) {
			return replicated.NewLease(standing, p.machine.conn, p.options, p.self, p.machine.roster)
		}); err != nil {
			return err
		}
		p.lease.Store(lease)
		if j, err = p.openCopy(standing, c.Data, lease); err != nil {
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
		able := func() bool { return p.why() == "" }
		withdraw, err := j.Offer(p.machine.conn, p.self.Machine, able)
		if err != nil {
			return err
		}
		defer withdraw()
		if err := lease.Take(taking, able); err != nil {
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

// why says why this machine could not take over now, or does not do what it should; "" for
// nothing.
func (p *partner) why() string {
	if why := p.unfit.Load(); why != nil {
		return *why
	}
	p.mu.Lock()
	g := p.reading
	p.mu.Unlock()
	if g != nil {
		h := g.handing()
		return h.trouble()
	}
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
			why, do := "the servers of the cluster do not answer", "see that a majority of them runs and can be reached from here"
			if errors.Is(err, jetstream.ErrStreamNotFound) {
				why, do = "the servers of the cluster have no log of it", "start a machine that judges, if none runs: it makes the log"
			}
			cannot(why)
			log.Warn(why+", and are asked again", slog.Any("error", err), slog.String("do", do))
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
	if patience.Permanent(err) {
		return false
	}
	for _, one := range []error{jetstream.ErrStreamNotFound, nats.ErrTimeout, nats.ErrNoResponders, nats.ErrNoServers, nats.ErrConnectionReconnecting, nats.ErrDisconnected, context.DeadlineExceeded} {
		if errors.Is(err, one) {
			return true
		}
	}
	var api *jetstream.APIError
	return errors.As(err, &api) && (api.Code == http.StatusServiceUnavailable || api.ErrorCode == tooFewServers)
}

// tooFewServers is what servers say that were started before the others.
const tooFewServers jetstream.ErrorCode = 10005

// rereads reads the configuration anew whenever somebody sends SIGHUP.
func (p *partner) rereads(ctx context.Context) error {
	return onHangup(ctx, func() { p.reload(ctx) })
}

// reload reads the configuration anew. What is in order, and could be put into force here,
// is in force at once where this machine reads bridges for others; else when its turn comes, or
// with the next start where it only shows what others write.
func (p *partner) reload(ctx context.Context) {
	c, problems := config.Load(p.now().Path)
	reads, err := false, problems.Err()
	if err == nil {
		reads, err = p.enforce(ctx, c)
	}
	switch {
	case err != nil:
		for line := range strings.SplitSeq(err.Error(), "\n") {
			p.log.Error("the configuration is not applied, and the former one stays", slog.String("why", line), slog.String("do", "mend the file and send SIGHUP again"))
		}
	case reads:
		p.log.Info("the configuration is in force")
	case p.now().Cluster.Shows:
		p.log.Info("the configuration is in order, and is in force when weald is started again")
	default:
		p.log.Info("the configuration is in force when this machine does the work")
	}
}

// enforce puts a configuration into force, and reports whether bridges are read by it now.
func (p *partner) enforce(ctx context.Context, c *config.Config) (reads bool, err error) {
	for {
		p.mu.Lock()
		g := p.reading
		if g == nil {
			defer p.mu.Unlock()
			_, err := prepare(ctx, p.config, c, nil, func() sample.Instant { return sample.At(time.Now()) }, 1, p.log)
			if err == nil {
				p.config = c
			}
			return false, err
		}
		p.mu.Unlock()
		if over, err := g.ask(c); !over {
			if err == nil {
				p.set(c)
			}
			return true, err
		}
	}
}
