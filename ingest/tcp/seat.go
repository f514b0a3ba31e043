package tcp

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"sync"
	"time"

	"weald/ingest/tcp/wire"
)

// ErrReplaced is what a read returns when the peer had fallen silent and
// another one took its place.
var ErrReplaced = errors.New("another peer took its place")

// A seat is the one place at a port that is open: for one peer at a time.
type seat struct {
	// Set by newSeat.
	link  *Listen
	quiet time.Duration
	first chan *Conn // who sat down first; holds one

	// Set by serve.
	stop context.CancelFunc
	done chan struct{} // closed when the port is

	mu      sync.Mutex
	holder  *Conn // guarded by mu; who sat down last
	left    bool  // guarded by mu; nobody sits down any more
	refused bool  // guarded by mu; a refusal of this holder's making was logged
}

func newSeat(l *Listen) *seat {
	quiet := l.Quiet
	if quiet <= 0 {
		quiet = DefaultQuiet
	}
	return &seat{link: l, quiet: quiet, first: make(chan *Conn, 1), done: make(chan struct{})}
}

// claim gives c the seat, or refuses it. It blocks no longer than a refusal
// takes or ctx runs.
func (s *seat) claim(ctx context.Context, c *Conn) {
	s.mu.Lock()
	old := s.holder
	free := old == nil || old.lost.Load() || old.silence() >= s.quiet
	switch {
	case s.left:
		s.mu.Unlock()
		c.Close()
	case !free:
		tell := !s.refused
		s.refused = true
		s.mu.Unlock()
		s.refuse(ctx, c, old, tell)
	default:
		s.holder, s.refused = c, false
		s.mu.Unlock()
		if old == nil {
			s.first <- c
			return
		}
		// Its reader learns of it and closes the seat, which parks c.
		old.net.Close()
	}
}

// refuse tells c why it may not stay. Whoever tries again and again is logged
// once.
func (s *seat) refuse(ctx context.Context, c, holder *Conn, tell bool) {
	defer c.Close()
	defer context.AfterFunc(ctx, func() { c.net.Close() })()
	if tell {
		s.link.log().Warn("a second peer was refused, as the first is alive",
			slog.String("link", s.link.Name()), slog.String("peer", c.peer), slog.String("first", holder.peer),
			slog.String("do", "give each bridge a port of its own"))
	}
	c.net.SetDeadline(time.Now().Add(refusalPatience))
	fmt.Fprintf(c.net, "refused: this port serves one bridge, and %s is connected\r\n", holder.peer)
	// To close with bytes unread would be a reset, which may overtake the words.
	if half, ok := c.net.(interface{ CloseWrite() error }); ok && half.CloseWrite() == nil {
		io.CopyN(io.Discard, c.net, mostDiscarded)
	}
}

// serve admits peers until leave.
func (s *seat) serve(port net.Listener, conf *tls.Config) {
	ctx, stop := context.WithCancel(context.Background())
	s.stop = stop
	go func() {
		defer close(s.done)
		wire.Serve(ctx, port, mostKnocking, func(ctx context.Context, raw net.Conn) { s.admit(ctx, raw, conf) })
	}()
}

// leave closes the port. Who sits there, but for the reader's own connection,
// waits for the next Open.
func (s *seat) leave(reader *Conn) {
	s.mu.Lock()
	s.left = true
	s.mu.Unlock()
	s.stop()
	<-s.done
	if next := s.heir(reader); next != nil {
		s.link.park(next)
	}
}

// A seated connection closes its port with itself.
type seated struct {
	*Conn
	seat *seat
	once sync.Once
}

func (s *seated) Read(p []byte) (int, error) {
	n, err := s.Conn.Read(p)
	if err == nil || s.closed.Load() {
		return n, err
	}
	if next := s.seat.heir(s.Conn); next != nil {
		return 0, fmt.Errorf("%s fell silent, and %s connected: %w", s.peer, next.peer, ErrReplaced)
	}
	return n, err
}

// heir returns who sits there, unless it is c; or nil.
func (s *seat) heir(c *Conn) *Conn {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.holder == c {
		return nil
	}
	return s.holder
}

// Close ends the connection and closes the port. A newcomer that took the seat
// waits for the next Open.
func (s *seated) Close() error {
	err := s.Conn.Close()
	s.once.Do(func() { s.seat.leave(s.Conn) })
	return err
}
