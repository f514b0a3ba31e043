package ingest

import (
	"context"
	"io"
)

// A Link is a way to a bridge: a serial port, a file, later a socket, a topic,
// a radio. It is opened again and again, one connection at a time.
type Link interface {
	// Name says what the link leads to, for people: "/dev/ttyACM0".
	Name() string

	// Open connects. Its error is shown to people as it is, so it says what
	// is wrong and what to do. An Open that waits returns when ctx ends. The
	// connection outlives ctx.
	//
	// One goroutine reads from the connection. Read waits for bytes and never
	// returns 0, nil. Close, called once by another goroutine, ends a waiting
	// Read. Any error of Read ends the connection, and the link is opened
	// anew; io.EOF does so too, unless the Link is Finite.
	Open(ctx context.Context) (io.ReadCloser, error)
}

// Messages is what a connection implements if it may keep messages whole, as a
// broker's topic and a radio's notifications do. Where Whole is true each Read
// returns exactly one message, and a message that does not fit into 64 KiB is
// an error of the link.
type Messages interface{ Whole() bool }

// Finite is what a Link implements if it may come to an end: where it is true
// io.EOF means that everything was said, and the bridge rests.
type Finite interface{ Finite() bool }

func whole(c io.ReadCloser) bool {
	m, ok := c.(Messages)
	return ok && m.Whole()
}

func finite(l Link) bool {
	f, ok := l.(Finite)
	return ok && f.Finite()
}
