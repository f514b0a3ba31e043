package mqtt

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"os"
	"strings"
	"sync/atomic"
	"time"

	"weald/ingest/mqtt/internal/handover"
	"weald/ingest/tcp/wire"
)

// A Version is a version of the MQTT protocol.
type Version int

const (
	V5   Version = iota // MQTT 5
	V311                // MQTT 3.1.1
)

const (
	// DefaultExpiry is how long a broker keeps frames for a client that is
	// away where the configuration names no time.
	DefaultExpiry = time.Hour

	// keepAlive is how often an idle connection is probed. A broker that does
	// not answer is given up after one more such time.
	keepAlive = 15 * time.Second

	// subscribePatience is how long a broker may take to grant a topic. Frames
	// that it has kept come first.
	subscribePatience = 30 * time.Second

	// mostInFlight is how many frames a broker may send ahead of
	// acknowledgements.
	mostInFlight = 256

	// maxPacket is the size in bytes of the largest packet that is looked at
	// at all. Between it and MaxFrame a message is counted and dropped.
	maxPacket = 1 << 20
)

// A Link is a bridge's topic at a broker. It may be opened again and again, one
// connection at a time.
type Link struct {
	Broker string // host:port
	Bridge string // the bridge's id, part of the topic

	// ClientID names this client to the broker, which keeps frames for it
	// under that name. No two clients may bear the same. Empty stands for
	// "weald-" and the bridge's id.
	ClientID string

	// User and the first line of PasswordFile are what the broker asks for.
	// The file is read at each Open. Empty for none.
	User, PasswordFile string

	// TLS, where it is not nil, asks for TLS.
	TLS *wire.ClientTLS

	// Version of the protocol; MQTT 5 unless told.
	Version Version

	// Expiry is how long the broker is asked to keep frames while this client
	// is away; 0 stands for DefaultExpiry. MQTT 3.1.1 cannot ask.
	Expiry time.Duration

	counts counts
	fresh  atomic.Bool // the next session forgets what the broker has kept
}

// Name says where the link leads, for people.
func (l *Link) Name() string {
	return fmt.Sprintf("mqtt weald/%s/frames at %s", l.Bridge, l.Broker)
}

func (l *Link) clientID() string { return cmp.Or(l.ClientID, "weald-"+l.Bridge) }

// Topic is where the bridge with the given id publishes its frames. The error
// says that such an id would reach into other bridges' topics.
func Topic(bridge string) (string, error) { return handover.Topic(bridge) }

// Open connects to the broker and has it grant the topic. Each Read of the
// connection returns one message, and tells the broker that the message before
// is safe. Where the broker has kept frames, they come before its answer about
// the topic, and so a refusal is an error of Read. The connection stays open
// until Close, whatever becomes of ctx.
func (l *Link) Open(ctx context.Context) (io.ReadCloser, error) {
	topic, err := Topic(l.Bridge)
	if err != nil {
		return nil, err
	}
	password, err := l.password()
	if err != nil {
		return nil, err
	}
	s := newSession(l, topic)
	connect := s.connect5
	if l.Version == V311 {
		connect = s.connect311
	}
	err = connect(ctx, password)
	if err == nil {
		err = s.settled(ctx)
	}
	if err != nil {
		s.conn.Close()
		if ctx.Err() != nil {
			err = context.Cause(ctx)
		}
		return nil, err
	}
	l.fresh.Store(false)
	return s.conn, nil
}

// password reads the first line of PasswordFile.
func (l *Link) password() (string, error) {
	if l.PasswordFile == "" {
		return "", nil
	}
	b, err := os.ReadFile(l.PasswordFile)
	if err != nil {
		return "", fmt.Errorf("the password for %s: %w", l.Broker, err)
	}
	first, _, _ := strings.Cut(string(b), "\n")
	return strings.TrimSuffix(first, "\r"), nil
}
