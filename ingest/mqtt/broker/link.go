package broker

import (
	"context"
	"fmt"
	"io"

	"weald/ingest/mqtt/internal/handover"
)

// A Link is the way to one bridge of a Broker. It may be opened again and
// again, one connection at a time.
type Link struct {
	broker *Broker
	bridge string
}

// Link returns the way to the bridge with the given id. That it has no account
// is an error of Open.
func (b *Broker) Link(bridge string) *Link { return &Link{broker: b, bridge: bridge} }

// Name says where the link leads, for people.
func (l *Link) Name() string { return fmt.Sprintf("mqtt client %s", l.bridge) }

// Open waits until a client of the bridge is connected, or ctx ends. Each Read
// of the connection returns one message, and tells the client that the message
// before is safe. A read ends with an error in plain words when the last of the
// bridge's clients has gone, also if that was before Open returned. The connection stays open until Close, whatever
// becomes of ctx.
func (l *Link) Open(ctx context.Context) (io.ReadCloser, error) {
	s := l.broker.seats[l.bridge]
	if s == nil {
		return nil, fmt.Errorf("bridge %s: %w", l.bridge, errStranger)
	}
	p := s.now()
	select {
	case <-p.came:
	case <-ctx.Done():
		return nil, context.Cause(ctx)
	}
	return handover.New(l.Name(), s.offers, p.over, func() error { return p.why }, nil), nil
}

// Counts returns what became of the bridge's messages. It may be called by
// anyone at any time.
func (l *Link) Counts() Counts {
	s := l.broker.seats[l.bridge]
	if s == nil {
		return Counts{}
	}
	return s.counts.read()
}
