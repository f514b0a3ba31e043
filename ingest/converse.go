package ingest

import (
	"context"
	"io"
	"time"

	"weald/ingest/sample"
)

// A chunk is what one Read gave, in one of the reader's buffers.
type chunk struct {
	buf []byte // whole, to be given back
	n   int    // bytes in it
	at  sample.Instant
	err error // ended the connection, after the n bytes

	again bool // they may have come before
}

// converse takes what conn delivers until it fails or ctx ends, and returns
// why. It owns conn: it is closed, and its reader has returned, when converse
// does.
func (s *Supervisor) converse(ctx context.Context, conn io.ReadCloser) error {
	chunks := make(chan chunk)
	free := make(chan []byte, 2) // holds every buffer, so giving one back never waits
	if whole(conn) {
		free <- make([]byte, readMessage)
	} else {
		// A stream is read on while its bytes are decoded; a message is not
		// asked for before the one before it was dealt with.
		free <- make([]byte, readStream)
		free <- make([]byte, readStream)
	}
	quit := make(chan struct{})
	done := make(chan struct{})
	go func() {
		defer close(done)
		s.read(conn, free, chunks, quit)
	}()
	defer func() {
		close(quit)
		conn.Close() // what it says changes nothing: the connection is given up
		<-done
	}()

	s.opened = s.opts.Now()
	_, stamped := conn.(Stamped)
	_, again := conn.(Redelivery)
	m := manner{whole: whole(conn), stamped: stamped, again: again}
	s.in.connected(s.opened, m)
	s.tape.connected(s.opened, m)
	battery, _ := conn.(Battery)
	s.feel(battery)
	s.enter(Open, sample.Never)
	tick := time.NewTicker(s.tick())
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return context.Cause(ctx)
		case c := <-chunks:
			if c.n > 0 {
				s.take(c)
			}
			if c.err != nil {
				s.in.disconnected()
				return c.err
			}
			if ctx.Err() != nil { // the next Read would be the receipt of what may not have been taken
				return context.Cause(ctx)
			}
			free <- c.buf
		case <-tick.C:
			s.feel(battery)
			s.look()
		}
	}
}

// feel asks for the level of the battery behind a connection; nil has none.
func (s *Supervisor) feel(b Battery) {
	if b == nil {
		return
	}
	if percent, known := b.Battery(); known {
		s.in.battery(percent, s.opts.Now())
	}
}

// read hands on what arrives until conn fails or quit is closed. It is the
// reader goroutine.
func (s *Supervisor) read(conn io.Reader, free chan []byte, chunks chan<- chunk, quit <-chan struct{}) {
	stamped, _ := conn.(Stamped)
	again, _ := conn.(Redelivery)
	for {
		var c chunk
		select {
		case c.buf = <-free:
		case <-quit:
			return
		}
		if stamped != nil {
			c.n, c.at, c.err = stamped.ReadStamped(c.buf)
		} else {
			c.n, c.err = conn.Read(c.buf)
			c.at = s.opts.Now()
		}
		c.again = again != nil && again.Again()
		if c.n == 0 && c.err == nil {
			c.err = io.ErrNoProgress // a link that breaks its word must not spin
		}
		select {
		case chunks <- c:
		case <-quit:
			return
		}
		if c.err != nil {
			return
		}
	}
}

// take decodes one chunk.
func (s *Supervisor) take(c chunk) {
	p := c.buf[:c.n]
	s.tape.record(&c)
	sound := s.in.sound
	now := c.at
	if s.in.timing == asRecorded {
		now = s.opts.Now()
	}
	s.in.take(p, c.at, now, c.again)
	if s.in.sound > sound {
		s.retry.Reset()
		s.lastErr = nil
	}
	s.publish(now)
}
