package ingest

import (
	"context"
	"io"

	"weald/ingest/sample"
)

// A Link is a way to a bridge: a serial port, a file, a socket, a topic, a
// radio. It is opened again and again, one connection at a time.
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
	// anew; io.EOF does so too, unless the Link is a Recording.
	Open(ctx context.Context) (io.ReadCloser, error)
}

// Messages is what a connection implements if it may keep messages whole, as a
// broker's topic and a radio's notifications do. Where Whole is true each Read
// returns exactly one message, and a message that does not fit into 64 KiB is
// an error of the link. Read is then called again only when everything that the
// message completed has been handed on, so a link may take the next Read as the
// receipt of the last message.
type Messages interface{ Whole() bool }

// Redelivery is what a connection implements that may give a message more than
// once, as a broker does until it has the receipt. Again says whether what the
// last Read gave was marked as one that may have come before; whoever reads asks.
type Redelivery interface{ Again() bool }

// Recording is what a Link implements that plays a recording and not a bridge.
// io.EOF then means that everything was said, and the bridge rests.
//
// Rebased says which times count. True: the recording is played at its own pace
// as if it happened now, and its times are mapped to the daemon's clock like a
// device's. False: it is played as fast as it goes, its own times count, and the
// time of a chunk's arrival is what Stamped says, else what its frames say.
type Recording interface{ Rebased() bool }

// Battery is what a connection implements that is itself told the level of the
// device's battery, as a radio is. It is asked at each tick, and any goroutine
// may ask. What a source says of itself in a status frame counts for more.
type Battery interface {
	Battery() (percent int, known bool)
}

// Stamped is what a connection implements that knows when its bytes arrived, in
// nanoseconds since 1970, because it was written down. ReadStamped is called
// instead of Read.
type Stamped interface {
	ReadStamped(p []byte) (n int, at sample.Instant, err error)
}

func whole(c io.ReadCloser) bool {
	m, ok := c.(Messages)
	return ok && m.Whole()
}

// timing says which times of a link's frames count.
type timing uint8

const (
	asSent     timing = iota // a bridge, now
	asIfNow                  // a recording, at its pace
	asRecorded               // a recording, as fast as it goes
)

func timingOf(l Link) timing {
	r, ok := l.(Recording)
	switch {
	case !ok:
		return asSent
	case r.Rebased():
		return asIfNow
	}
	return asRecorded
}
