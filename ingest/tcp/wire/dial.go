package wire

import (
	"context"
	"crypto/tls"
	"net"
)

// Dial connects to address, a host:port, within Patience. Where secure is not
// nil the connection is TLS and the peer's certificate was verified. The
// connection outlives ctx.
//
// Its error says in plain words what is wrong and wraps the cause.
func Dial(ctx context.Context, address string, secure *ClientTLS) (net.Conn, error) {
	var conf *tls.Config
	if secure != nil {
		var err error
		if conf, err = secure.Config(address); err != nil {
			return nil, err
		}
	}
	limited, cancel := context.WithTimeout(ctx, Patience)
	defer cancel()
	dialer := net.Dialer{KeepAliveConfig: KeepAlive}
	raw, err := dialer.DialContext(limited, "tcp", address)
	if ctx.Err() != nil {
		if err == nil {
			raw.Close()
		}
		return nil, context.Cause(ctx)
	}
	if err != nil {
		return nil, noDial(address, err)
	}
	if conf == nil {
		return raw, nil
	}
	c := tls.Client(raw, conf)
	if err := c.HandshakeContext(limited); err != nil {
		raw.Close()
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		return nil, NoHandshake(address, err)
	}
	return c, nil
}
