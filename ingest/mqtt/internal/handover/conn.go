package handover

import (
	"fmt"
	"os"
	"sync"
)

// An Offer is one message that waits for a reader.
type Offer struct {
	// Payload has between 1 and MaxFrame bytes. It is the reader's once taken.
	Payload []byte

	// Again says that it may have been offered before.
	Again bool

	// Done is called once for an offer that was taken: with true when the
	// message is safe, with false when it will not be.
	Done func(safe bool)
}

// A Conn is the reader's side. One goroutine reads, another one may close.
type Conn struct {
	// Set by New.
	name   string
	offers <-chan Offer
	left   <-chan struct{}
	why    func() error
	end    func() error

	again bool // of the message that was read last; owned by the reader

	closed chan struct{}
	once   sync.Once
	result error // of end; valid once Close has returned

	mu   sync.Mutex
	held *Offer // guarded by mu; taken, and not yet known to be safe
}

// New makes the reader's side of offers. Once left is closed a read returns
// what why says. end is called once, by Close, after the reader has given back
// what it held; nil is nothing.
func New(name string, offers <-chan Offer, left <-chan struct{}, why, end func() error) *Conn {
	if end == nil {
		end = func() error { return nil }
	}
	return &Conn{name: name, offers: offers, left: left, why: why, end: end, closed: make(chan struct{})}
}

// Closed is closed when the reader is no more.
func (c *Conn) Closed() <-chan struct{} { return c.closed }

// Whole says that each Read returns one message.
func (c *Conn) Whole() bool { return true }

// Again reports whether the message that was read last may have come before. It is
// for the goroutine that reads.
func (c *Conn) Again() bool { return c.again }

// Read declares the message before safe, waits for the next one and copies it
// to p. A p that is too small loses the message, which is an error: it would
// not fit the next time either. After Close the error wraps os.ErrClosed.
func (c *Conn) Read(p []byte) (int, error) {
	c.settle(true)
	select {
	case <-c.closed: // before any offer that waits
		return 0, c.isClosed()
	default:
	}
	select {
	case <-c.closed:
		return 0, c.isClosed()
	case o := <-c.offers:
		n := copy(p, o.Payload)
		if n < len(o.Payload) {
			o.Done(true)
			return 0, fmt.Errorf("%s: a message of %d bytes does not fit into %d", c.name, len(o.Payload), len(p))
		}
		if err := c.hold(o); err != nil {
			return 0, err
		}
		c.again = o.Again
		return n, nil
	case <-c.left:
		return 0, c.why()
	}
}

func (c *Conn) isClosed() error { return fmt.Errorf("%s: %w", c.name, os.ErrClosed) }

// hold keeps o until it is settled.
func (c *Conn) hold(o Offer) error {
	c.mu.Lock()
	select {
	case <-c.closed: // Close has seen nothing to give back
		c.mu.Unlock()
		o.Done(false)
		return c.isClosed()
	default:
	}
	c.held = &o
	c.mu.Unlock()
	return nil
}

// settle tells the sender of the message that is held, if any.
func (c *Conn) settle(safe bool) {
	c.mu.Lock()
	o := c.held
	c.held = nil
	c.mu.Unlock()
	if o != nil {
		o.Done(safe)
	}
}

// Close ends a waiting Read and the connection. What was read last counts as
// not received. Closing twice does nothing.
func (c *Conn) Close() error {
	c.once.Do(func() {
		c.mu.Lock()
		close(c.closed)
		c.mu.Unlock()
		c.settle(false)
		c.result = c.end()
	})
	return c.result
}
