package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"github.com/cenkalti/backoff/v5"
	"golang.org/x/sync/errgroup"

	"weald/config"
	"weald/ingest/mqtt/broker"
	"weald/ingest/sample"
	"weald/webui/api"
)

// A listener is the daemon's own MQTT listener. It is kept open: what closes it,
// such as another program on its port, is said and tried again, and no reason to
// leave the bridges of other links alone.
type listener struct {
	// Set by newListener.
	address string
	broker  *broker.Broker
	now     func() sample.Instant
	log     *slog.Logger

	stop context.CancelFunc // set by launch
	done chan struct{}      // closed when it has ended

	mu    sync.Mutex
	why   error          // guarded by mu; why it was closed last, nil if it was not
	since sample.Instant // guarded by mu; when that began
}

// newListener prepares the listener that c names; nil where it names none.
func newListener(c *config.Config, now func() sample.Instant, log *slog.Logger) (*listener, error) {
	if c.MQTT == nil {
		return nil, nil
	}
	o := broker.Options{Address: c.MQTT.Listen, TLS: c.MQTT.TLS, MaxClients: c.MQTT.MaxClients, Log: log}
	for i := range c.Bridges {
		if client := c.Bridges[i].Link.Client; client != nil {
			o.Accounts = append(o.Accounts, broker.Account{Bridge: c.Bridges[i].ID, PasswordFile: client.PasswordFile})
		}
	}
	b, err := broker.New(o)
	if err != nil {
		return nil, err
	}
	return &listener{address: c.MQTT.Listen, broker: b, now: now, log: log}, nil
}

// launch serves, as one of a group, until it is ended or ctx ends.
func (l *listener) launch(ctx context.Context, group *errgroup.Group) {
	ctx, l.stop = context.WithCancel(ctx)
	l.done = make(chan struct{})
	group.Go(func() error {
		defer close(l.done)
		return l.run(ctx)
	})
}

// end ends what launch began; a nil listener has nothing to end.
func (l *listener) end() {
	if l != nil {
		l.stop()
		<-l.done
	}
}

// run serves until ctx ends.
func (l *listener) run(ctx context.Context) error {
	retry := backoff.ExponentialBackOff{
		InitialInterval: 250 * time.Millisecond, MaxInterval: 15 * time.Second, Multiplier: 2, RandomizationFactor: 0.2,
	}
	for {
		began := time.Now()
		err := l.broker.Run(ctx)
		if ctx.Err() != nil {
			return nil
		}
		if err == nil {
			err = errors.New("it ended by itself")
		}
		l.closed(err)
		if time.Since(began) > retry.MaxInterval {
			retry.Reset() // it was open in between
		}
		select {
		case <-time.After(min(retry.NextBackOff(), retry.MaxInterval)):
		case <-ctx.Done():
			return nil
		}
	}
}

// closed remembers why, and logs it once.
func (l *listener) closed(why error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.why == nil || l.why.Error() != why.Error() {
		l.since = l.now()
		l.log.Warn("the MQTT listener is closed", slog.String("address", l.address), slog.Any("why", why),
			slog.String("do", "it is tried again by itself; see which other program has the port: ss -ltnp"))
	}
	l.why = why
}

// trouble says why nobody can connect and since when, empty if all is well. A
// nil listener has no trouble.
func (l *listener) trouble() (words string, since sample.Instant) {
	if l == nil {
		return "", sample.Past
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.broker.Address() != "" {
		if l.why != nil {
			l.log.Info("the MQTT listener is open", slog.String("address", l.address))
		}
		l.why = nil
	}
	if l.why == nil {
		return "", sample.Past
	}
	return fmt.Sprintf("the daemon's MQTT listener is closed: %v; it is tried again by itself", l.why), l.since
}

// way is that of a bridge whose client connects to l.
func (l *listener) way(bridge string) way {
	link := l.broker.Link(bridge)
	return way{link: link, listener: l, messages: func() *api.Messages {
		c := link.Counts()
		return &api.Messages{
			Offered: c.Messages, Duplicates: c.Duplicates,
			Dropped: map[string]uint64{"oversized": c.Oversized, "empty": c.Empty},
		}
	}}
}
