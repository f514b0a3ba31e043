package wire

import (
	"context"
	"crypto/tls"
	"net"
)

// Handshake makes the listening side's TLS out of raw, within Patience, or
// closes raw and says why there is none. A nil conf leaves raw as it is.
func Handshake(ctx context.Context, raw net.Conn, conf *tls.Config) (net.Conn, error) {
	if conf == nil {
		return raw, nil
	}
	limited, cancel := context.WithTimeout(ctx, Patience)
	defer cancel()
	c := tls.Server(raw, conf)
	if err := c.HandshakeContext(limited); err != nil {
		raw.Close()
		return nil, NoHandshake(raw.RemoteAddr().String(), err)
	}
	return c, nil
}
