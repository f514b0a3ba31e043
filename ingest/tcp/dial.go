package tcp

import (
	"context"
	"io"
	"time"

	"weald/ingest/tcp/wire"
)

// DefaultIdle is after how long a silence a peer is given up where the
// configuration names no time.
const DefaultIdle = 2 * time.Minute

// A Dial is a link to a bridge that listens. It may be opened again and again,
// one connection at a time.
type Dial struct {
	// Address is the bridge's host:port.
	Address string

	// TLS, where it is not nil, asks for TLS.
	TLS *wire.ClientTLS

	// Idle is the silence after which the peer is given up; 0 stands for
	// DefaultIdle, and a negative time for never.
	Idle time.Duration
}

// Name says where the link leads, for people.
func (d *Dial) Name() string {
	if d.TLS != nil {
		return "tls to " + d.Address
	}
	return "tcp to " + d.Address
}

// Open connects, within 10 s. The connection stays open until Close, whatever
// becomes of ctx.
func (d *Dial) Open(ctx context.Context) (io.ReadCloser, error) {
	c, err := wire.Dial(ctx, d.Address, d.TLS)
	if err != nil {
		return nil, err
	}
	return newConn(d.Address, c, d.Idle), nil
}
