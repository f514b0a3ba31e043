package serialport

import (
	"fmt"
	"os"
	"sync/atomic"

	"go.bug.st/serial"
)

// A Conn is an open port. One goroutine may read while another closes.
type Conn struct {
	name   string
	port   serial.Port
	closed atomic.Bool // by our own Close, as against a pulled plug
}

// Read waits for bytes, for as long as it takes. It returns an error that wraps
// os.ErrClosed after Close and one that wraps ErrUnplugged when the device went
// away; it never returns 0, nil and never io.EOF.
func (c *Conn) Read(p []byte) (n int, err error) {
	// The library waits with select(2), which cannot watch descriptors from
	// 1024 on, and indexes beyond an array there. A daemon with that many open
	// files must lose this port, not its life.
	defer func() {
		if r := recover(); r != nil {
			n, err = 0, fmt.Errorf("%s: too many open files to watch a serial port: %v", c.name, r)
		}
	}()
	n, err = c.port.Read(p)
	switch {
	case c.closed.Load():
		return 0, fmt.Errorf("%s: %w", c.name, os.ErrClosed)
	case n > 0:
		return n, nil
	case len(p) == 0 && err == nil:
		return 0, nil
	default:
		// Every way to fail here is the device's: the library's "closed", EIO
		// from a line that was hung up, ENXIO from a driver that is gone.
		return 0, fmt.Errorf("%s: %w", c.name, ErrUnplugged)
	}
}

// Close ends a blocked Read and frees the port. Closing twice does nothing.
func (c *Conn) Close() error {
	if c.closed.Swap(true) {
		return nil
	}
	if err := c.port.Close(); err != nil {
		return fmt.Errorf("closing %s: %w", c.name, err)
	}
	return nil
}

// Write sends p to the device.
func (c *Conn) Write(p []byte) (int, error) {
	n, err := c.port.Write(p)
	if err != nil {
		return n, fmt.Errorf("writing to %s: %w", c.name, err)
	}
	return n, nil
}
