package tcp

import (
	"errors"
	"fmt"
	"net"
	"os"
	"sync/atomic"
	"time"

	"weald/ingest/tcp/wire"
)

// ErrIdle is what a read returns when the peer said nothing for the idle time.
var ErrIdle = errors.New("nothing arrives, and the connection is given up")

// A Conn is a connection with a bridge. One goroutine may read while another
// closes.
type Conn struct {
	peer   string
	net    net.Conn
	idle   time.Duration
	heard  atomic.Int64 // when bytes arrived last, or the peer did; ns after began
	closed atomic.Bool  // by our own Close, as against a loss
	lost   atomic.Bool  // a Read has failed
}

// began is what the times of Conn.heard count from: the monotonic clock, so
// that a step of the wall clock makes nobody look dead.
var began = time.Now()

func newConn(peer string, c net.Conn, idle time.Duration) *Conn {
	if idle == 0 {
		idle = DefaultIdle
	}
	conn := &Conn{peer: peer, net: c, idle: idle}
	conn.touch()
	return conn
}

func (c *Conn) touch() { c.heard.Store(int64(time.Since(began))) }

// silence is for how long nothing has arrived.
func (c *Conn) silence() time.Duration { return time.Since(began) - time.Duration(c.heard.Load()) }

// Read waits for bytes. It returns io.EOF when the peer ended the connection,
// an error that wraps ErrIdle after the idle time, one that wraps os.ErrClosed
// after Close, and else says in plain words how the peer was lost. It never
// returns 0, nil for a p with room.
func (c *Conn) Read(p []byte) (int, error) {
	if c.idle > 0 {
		// What it says matters to nobody: on a closed connection Read fails too.
		c.net.SetReadDeadline(time.Now().Add(c.idle))
	}
	n, err := c.net.Read(p)
	if n > 0 {
		c.touch()
		return n, nil // an error that came with it comes again
	}
	if err == nil {
		return 0, nil // asked for nothing
	}
	c.lost.Store(true)
	switch {
	case c.closed.Load():
		return 0, fmt.Errorf("%s: %w", c.peer, os.ErrClosed)
	case errors.Is(err, os.ErrDeadlineExceeded):
		return 0, fmt.Errorf("%s said nothing for %v: %w", c.peer, c.idle, ErrIdle)
	}
	return 0, wire.Lost(c.peer, err)
}

// Close ends a blocked Read and the connection. Closing twice does nothing.
func (c *Conn) Close() error {
	if c.closed.Swap(true) {
		return nil
	}
	if err := c.net.Close(); err != nil && !errors.Is(err, net.ErrClosed) {
		return wire.Lost(c.peer, err)
	}
	return nil
}
