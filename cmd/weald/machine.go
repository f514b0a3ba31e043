package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
	"golang.org/x/sync/errgroup"

	"weald/config"
	"weald/ingest/sample"
	"weald/stream/journal/replicated"
	"weald/stream/pipeline"
	"weald/stream/pulse"
	"weald/stream/pulse/systemd"
)

// A machine is this process among those that keep records together: one record, or one of
// each share into which the configuration divides the places, with a partner each.
type machine struct {
	config   *config.Config
	name     string
	conn     *nats.Conn
	closed   chan struct{}      // closed when conn is, for good
	roster   *replicated.Roster // nil where there are no shares
	partners []*partner
	log      *slog.Logger
	stderr   io.Writer
}

// runWithOthers is what `weald run` does where several machines keep the record.
func runWithOthers(ctx context.Context, c *config.Config, stderr io.Writer) error {
	m := &machine{config: c, name: c.Cluster.Machine, log: newLog(stderr, c), stderr: stderr}
	if m.name == "" {
		name, err := os.Hostname()
		if err != nil {
			return fmt.Errorf("this machine has no name, give cluster.machine: %w", err)
		}
		m.name = name
	}
	if err := m.meet(); err != nil {
		return fmt.Errorf("cluster: %w", err)
	}
	var own []nats.Option
	if c.Cluster.Own {
		server, err := m.ownLog()
		if err != nil {
			return fmt.Errorf("cluster: %w", err)
		}
		defer server.End()
		own = append(own, server.Option())
	}
	if err := m.connect(own); err != nil {
		return fmt.Errorf("cluster: %w", err)
	}
	defer m.conn.Close()
	group, ctx := errgroup.WithContext(ctx)
	group.Go(func() error { return m.manage(ctx) })
	group.Go(func() error { return m.admitted(ctx) })
	if len(c.Cluster.Shares) > 0 {
		group.Go(func() error { return m.carry(ctx) })
	} else {
		group.Go(func() error { return m.partners[0].takeTurns(ctx) })
	}
	err := group.Wait()
	if m.conn.IsClosed() { // whichever part noticed it first
		err = m.sentAway()
	}
	return err
}

// meet makes the partners of all records that this machine has a part in.
func (m *machine) meet() error {
	paths := m.config.Shares()
	if paths == nil {
		m.partners = []*partner{m.partner(m.config)}
	}
	for _, path := range paths {
		part, problems := config.Parse(path, []byte(m.config.Text))
		if err := problems.Err(); err != nil {
			return err
		}
		m.partners = append(m.partners, m.partner(part))
	}
	return nil
}

// admitted returns why the servers let this machine in no more, or when ctx ends. A server
// that refuses twice what a machine shows is not asked again: what was withdrawn comes back
// with a start.
func (m *machine) admitted(ctx context.Context) error {
	select {
	case <-m.closed:
		return m.sentAway()
	case <-ctx.Done():
		return context.Cause(ctx)
	}
}

func (m *machine) sentAway() error {
	shown := "it shows no key, which would be credentials: of cluster:"
	if file := m.config.Cluster.Credentials; file != "" {
		shown = "what it shows is in " + file
	}
	return fmt.Errorf("the servers of the cluster let this machine in no more: %w; %s: if that was withdrawn, it has no part in the record any more; "+
		"else give the servers the public half, or this machine another key, and start weald again", m.conn.LastError(), shown)
}

// connect begins to connect to the servers of the log, and goes on for ever; own leads to
// a server of this machine's own, nil for none.
func (m *machine) connect(own []nats.Option) (err error) {
	m.closed = make(chan struct{})
	options := []nats.Option{
		nats.Name("weald " + m.name), nats.MaxReconnects(-1), nats.ReconnectWait(time.Second), nats.RetryOnFailedConnect(true),
		nats.DisconnectErrHandler(func(_ *nats.Conn, err error) {
			if err != nil { // not closed by this side
				m.log.Warn("a server of the cluster is gone, and what is to be kept waits for another", slog.Any("error", err), slog.String("do", "see that a majority of them runs and can be reached from here"))
			}
		}),
		nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) {
			m.log.Warn("a server of the cluster refuses something", slog.Any("error", err), slog.String("do", "see that it knows the key of this machine, and that the account of that may use JetStream and the subjects of the record"))
		}),
		nats.ReconnectErrHandler(func(_ *nats.Conn, err error) {
			m.log.Warn("a server of the cluster cannot be reached, and is tried again", slog.Any("error", err), slog.String("do", "see that it runs, can be reached from here, and lets in who shows a key"))
		}),
		nats.ClosedHandler(func(*nats.Conn) { close(m.closed) }),
		nats.ReconnectHandler(func(*nats.Conn) { m.log.Info("a server of the cluster is there again") }),
	}
	if own != nil { // it listens to nobody, and needs no proof
		m.conn, err = nats.Connect("", append(options, own...)...)
		return err
	}
	if file := m.config.Cluster.Credentials; file != "" {
		shown, err := credentialsOf(file)
		if err != nil {
			return err
		}
		options = append(options, shown)
	}
	if file := m.config.Cluster.CA; file != "" {
		options = append(options, nats.RootCAs(file))
	}
	m.conn, err = nats.Connect(strings.Join(m.config.Cluster.Servers, ","), options...)
	return err
}

// manage tells the service manager that this machine is there, whether it works or stands
// by, for as long as the loops turn of whatever it carries.
func (m *machine) manage(ctx context.Context) error {
	manager := systemd.Asked(os.Getenv)
	tellReady(manager, m.name+" works or stands by", m.log)
	if within := manager.Watchdog(os.Getenv); within > 0 {
		heart := &pulse.Heart{Name: "watchdog", Every: within / 3, Way: manager, Proofs: []pulse.Proof{m.turned}, Now: func() sample.Instant { return sample.At(time.Now()) }, Log: m.log}
		_ = heart.Run(ctx) // it ends with ctx
	}
	<-ctx.Done()
	_ = manager.Stopping() // who does not hear it waits a little longer
	return context.Cause(ctx)
}

// turned proves that the loops turn that this machine carries.
func (m *machine) turned(ctx context.Context) error {
	for _, p := range m.partners {
		if d := p.daemon.Load(); d != nil {
			if err := turned(d.now().pipe)(ctx); err != nil && !errors.Is(err, pipeline.ErrStopped) { // which is about to stand by
				return err
			}
		}
	}
	return nil
}
