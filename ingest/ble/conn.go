package ble

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"sync"
	"sync/atomic"
	"time"

	"weald/ingest/ble/bluez"
)

const (
	// queued is how many notifications wait for Read where they come by D-Bus:
	// at the highest rate of any radio more than a second.
	queued = 4096

	// longest is a notification at its longest, as the Bluetooth core
	// specification has it.
	longest = 512

	// why is how long after a drop BlueZ may tell the reason of it: it tells of
	// an adapter's peripherals before it tells of the adapter.
	why = 250 * time.Millisecond

	// rest is how long a socket may be read after the connection has ended, and
	// how long after a socket was hung up the reason may come.
	rest = 2 * why
)

// A Conn is a connected peripheral whose notifications are subscribed to. One
// goroutine may read while another closes.
type Conn struct {
	// Set by Open.
	name            string
	bus             *bluez.Bus
	adapter, device bluez.Path
	ours            bool // the connection to the peripheral was made by us
	frames          bluez.Path
	batteryValue    bluez.Path // empty where BlueZ reads the battery itself
	encoder         *encoder
	limits          limits
	socket          *os.File    // nil where notifications come by D-Bus
	values          chan []byte // by D-Bus; filled by follow
	quit            context.CancelFunc
	done            chan struct{} // closed when follow has returned

	// Owned by the goroutine that reads.
	buf [longest + 1]byte
	out []byte

	battery atomic.Int32 // percent, -1 not known

	once    sync.Once
	ended   chan struct{}
	cause   error // why; written before ended is closed
	closing atomic.Bool
}

// Whole reports that each Read returns one message.
func (c *Conn) Whole() bool { return true }

// Battery returns the level of the peripheral's battery in percent, and whether
// it is known: read when the connection was made, and followed since. Any
// goroutine may ask.
func (c *Conn) Battery() (percent int, known bool) {
	p := int(c.battery.Load())
	return p, p >= 0
}

// Read waits for a notification, for as long as it takes, and returns it whole.
// It returns an error that wraps os.ErrClosed after Close, and otherwise one
// that says why the connection ended, once every notification that came before
// that was read. It never returns 0, nil and never io.EOF.
func (c *Conn) Read(p []byte) (int, error) {
	if len(p) == 0 {
		return 0, nil
	}
	for {
		msg, err := c.next()
		if err != nil {
			return 0, fmt.Errorf("%s: %w", c.name, err)
		}
		if c.encoder != nil {
			msg = c.encoder.encode(&c.out, msg)
		}
		if len(msg) == 0 {
			continue // an empty notification is no message
		}
		if len(msg) > len(p) {
			return 0, fmt.Errorf("%s: a notification of %d bytes does not fit into %d", c.name, len(msg), len(p))
		}
		return copy(p, msg), nil
	}
}

// next waits for a notification, which is valid until the next call.
func (c *Conn) next() ([]byte, error) {
	if c.socket != nil {
		return c.receive()
	}
	select {
	case v := <-c.values:
		return v, nil
	case <-c.ended:
	}
	select { // what came before the end
	case v := <-c.values:
		if !c.closing.Load() {
			return v, nil
		}
	default:
	}
	return nil, c.cause
}

// receive waits for a notification from the socket.
func (c *Conn) receive() ([]byte, error) {
	n, err := c.socket.Read(c.buf[:])
	switch {
	case n > longest:
		return nil, fmt.Errorf("a notification of more than %d bytes", longest)
	case n > 0:
		return c.buf[:n], nil
	case err == io.EOF && !bluez.HungUp(c.socket):
		return nil, nil // an empty one
	}
	select {
	case <-c.ended:
	case <-time.After(rest):
		c.end(ErrDropped)
	}
	return nil, c.cause
}

// Close ends a blocked Read, and disconnects the peripheral if it was this link
// that connected it. It waits for that a few seconds at most. Closing twice does
// nothing.
func (c *Conn) Close() error {
	if c.closing.Swap(true) {
		return nil
	}
	c.end(os.ErrClosed)
	c.quit()
	<-c.done
	if err := c.leave(); err != nil && c.cause == os.ErrClosed {
		return fmt.Errorf("closing %s: %w", c.name, err)
	}
	return nil // what was lost already cannot be closed well
}

// leave gives everything back, whether or not the connection was ever made.
func (c *Conn) leave() error {
	var errs []error
	if c.socket != nil {
		errs = append(errs, c.socket.Close())
	}
	if c.ours {
		errs = append(errs, within(context.Background(), c.limits.goodbye, errSlow, func(ctx context.Context) error {
			return c.bus.Disconnect(ctx, c.device)
		}))
	}
	return errors.Join(append(errs, c.bus.Close())...)
}

// end remembers the first reason for the end.
func (c *Conn) end(cause error) {
	c.once.Do(func() {
		c.cause = cause
		close(c.ended)
		if c.socket != nil && cause != os.ErrClosed {
			// BlueZ hangs up when it can; this is for when it cannot. What is in
			// the socket comes first.
			c.socket.SetReadDeadline(time.Now().Add(rest))
		}
	})
}
