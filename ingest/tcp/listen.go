package tcp

import (
	"context"
	"crypto/tls"
	"io"
	"log/slog"
	"net"
	"sync"
	"time"

	"weald/ingest/tcp/wire"
)

const (
	// DefaultQuiet is after how long a silence a newcomer takes the place of a
	// peer where the configuration names no time.
	DefaultQuiet = 5 * time.Second

	// mostKnocking bounds how many peers a port deals with at a time: the
	// others are in the midst of a handshake or being refused.
	mostKnocking = 16

	// parkTime is how long a newcomer waits for the link to be opened anew
	// before it is let go. It outlasts the longest pause between attempts.
	parkTime = time.Minute

	refusalPatience = time.Second // for a refused peer to take the reason
	mostDiscarded   = 256 << 10   // bytes of a refused peer's that are read meanwhile
)

// A Listen is a link to a bridge that dials. It may be opened again and again,
// one connection at a time.
type Listen struct {
	// Address is the host:port to listen on, with the host left out for every
	// address of this machine.
	Address string

	// TLS, where it is not nil, asks for TLS.
	TLS *wire.ServerTLS

	// Idle is the silence after which the peer is given up; 0 stands for
	// DefaultIdle, and a negative time for never.
	Idle time.Duration

	// Quiet is the silence after which a peer must give way to another one
	// that connects; 0 stands for DefaultQuiet.
	Quiet time.Duration

	// Log is told of peers that were refused; nil for nobody.
	Log *slog.Logger

	conf *tls.Config // of the first Open that could read the files; it sees to their changes

	mu      sync.Mutex
	parked  *Conn       // guarded by mu; a newcomer that waits for the next Open
	release *time.Timer // guarded by mu; lets parked go
}

// Name says what the link is, for people.
func (l *Listen) Name() string {
	if l.TLS != nil {
		return "tls on " + l.Address
	}
	return "tcp on " + l.Address
}

// Open listens and waits until a peer is there or ctx ends. The connection
// stays open until Close, whatever becomes of ctx.
func (l *Listen) Open(ctx context.Context) (io.ReadCloser, error) {
	if l.TLS != nil && l.conf == nil {
		var err error
		if l.conf, err = l.TLS.Config(l.complain); err != nil {
			return nil, err
		}
	}
	port, err := wire.Listen(ctx, l.Address)
	if err != nil {
		return nil, err
	}
	s := newSeat(l)
	if c := l.unpark(); c != nil {
		s.claim(ctx, c)
	}
	s.serve(port, l.conf)
	select {
	case c := <-s.first:
		return &seated{Conn: c, seat: s}, nil
	case <-ctx.Done():
		s.leave(nil)
		return nil, context.Cause(ctx)
	}
}

// park keeps a newcomer for the next Open, in place of an older one.
func (l *Listen) park(c *Conn) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.drop()
	l.parked = c
	l.release = time.AfterFunc(parkTime, func() {
		l.mu.Lock()
		defer l.mu.Unlock()
		if l.parked == c {
			l.drop()
		}
	})
}

// unpark returns who is parked, or nil.
func (l *Listen) unpark() *Conn {
	l.mu.Lock()
	defer l.mu.Unlock()
	c := l.parked
	if c != nil {
		l.release.Stop()
		l.parked = nil
	}
	return c
}

// drop lets go who is parked. The caller holds l.mu.
func (l *Listen) drop() {
	if l.parked != nil {
		l.release.Stop()
		l.parked.Close() // nobody is left to be told of a failure
		l.parked = nil
	}
}

// complain says what is wrong with files that were in order before.
func (l *Listen) complain(err error) {
	l.log().Error("the certificate of a port", slog.String("link", l.Name()), slog.Any("trouble", err),
		slog.String("do", "put whole files there, which count without a start; until then peers get the one before"))
}

func (l *Listen) log() *slog.Logger {
	if l.Log == nil {
		return slog.New(slog.DiscardHandler)
	}
	return l.Log
}

// admit brings raw to its seat. It is the call of wire.Serve for one peer.
func (s *seat) admit(ctx context.Context, raw net.Conn, conf *tls.Config) {
	c, err := wire.Handshake(ctx, raw, conf)
	if err != nil {
		s.link.log().Warn("a peer was turned away", slog.String("link", s.link.Name()), slog.Any("why", err),
			slog.String("do", "where it is a bridge of yours, see that it asks for TLS and trusts the certificate; else see who that is"))
		return
	}
	s.claim(ctx, newConn(raw.RemoteAddr().String(), c, s.link.Idle))
}
