package mqtt

import (
	"context"
	"net"
	"sync"
	"time"

	"weald/ingest/mqtt/guard"
	"weald/ingest/mqtt/internal/handover"
	"weald/ingest/tcp/wire"
)

// A session is one connection to the broker, from Open to Close. The client
// library calls receive and leave from goroutines of its own; the reader has
// the conn.
type session struct {
	link   *Link
	topic  string
	conn   *handover.Conn
	offers chan handover.Offer
	left   chan struct{}

	granted chan struct{} // closed when the broker has granted the topic
	waiting chan struct{} // closed when a frame waits for the reader

	// hangUp ends the client library's part. Set before Open returns or
	// closes conn.
	hangUp func() error

	once sync.Once
	why  error // set before left is closed

	first sync.Once // closes waiting
}

func newSession(l *Link, topic string) *session {
	s := &session{
		link: l, topic: topic,
		offers: make(chan handover.Offer), left: make(chan struct{}),
		granted: make(chan struct{}), waiting: make(chan struct{}),
		hangUp: func() error { return nil },
	}
	s.conn = handover.New(l.Name(), s.offers, s.left,
		func() error { return s.why },
		func() error { return s.hangUp() })
	return s
}

// settled waits until the topic is granted, or denied, which is an error. It
// does not wait where frames that the broker had kept are there before: the
// answer may stand behind them, and they behind the reader.
func (s *session) settled(ctx context.Context) error {
	select {
	case <-s.granted:
	case <-s.waiting:
	case <-s.left:
		return s.why
	case <-ctx.Done():
		return context.Cause(ctx)
	}
	return nil
}

// leave says that the connection to the broker is lost. The first reason
// counts.
func (s *session) leave(why error) {
	s.once.Do(func() {
		s.why = why
		close(s.left)
	})
}

// leaveUnless says that the connection is lost for want of a better reason: one
// from the client library itself may be on its way.
func (s *session) leaveUnless(why error) {
	late := time.NewTimer(betterReason)
	defer late.Stop()
	select {
	case <-late.C:
		s.leave(why)
	case <-s.left:
	case <-s.conn.Closed():
	}
}

// betterReason is how long a client library may take to say why a connection
// was lost.
const betterReason = time.Second

// A delivery is one message as the client library gives it.
type delivery struct {
	topic         string
	payload       []byte
	retained, dup bool
	ack           func() // tells the broker; may be called by any goroutine
}

// receive blocks until the reader took the message or is no more. What it drops
// it acknowledges: it would not be taken the next time either.
func (s *session) receive(d delivery) {
	c := &s.link.counts
	switch {
	case d.topic != s.topic, len(d.payload) == 0:
		c.strange.Add(1)
	case d.retained:
		c.retained.Add(1)
	case len(d.payload) > handover.MaxFrame:
		c.oversized.Add(1)
	default:
		s.offer(d)
		return
	}
	d.ack()
}

func (s *session) offer(d delivery) {
	o := handover.Offer{Payload: d.payload, Again: d.dup, Done: func(safe bool) {
		if safe {
			d.ack()
		}
	}}
	s.link.counts.messages.Add(1)
	if d.dup {
		s.link.counts.duplicates.Add(1)
	}
	s.first.Do(func() { close(s.waiting) })
	select {
	case s.offers <- o:
	case <-s.conn.Closed():
	}
}

// dial makes the network connection that a client library then speaks over.
func (s *session) dial(ctx context.Context) (net.Conn, error) {
	c, err := wire.Dial(ctx, s.link.Broker, s.link.TLS)
	if err != nil {
		return nil, err
	}
	return guard.New(c, maxPacket), nil
}
