package wire

import (
	"context"
	"crypto/tls"
	"net"
	"sync"

	"weald/ingest/tcp/wire/pair"
)

// ServerTLS says who the side that listens is.
type ServerTLS struct {
	// Certificate and Key are PEM files: the certificate with those that
	// vouch for it, and its key.
	Certificate, Key string

	// ClientCA is a file of PEM certificates. Where it is set, a peer must
	// show a certificate that one of them signed.
	ClientCA string
}

// Config reads the files, and again for each peer: new ones count from the next on. Its
// error names the file that is wrong. What is wrong later is told to trouble, once until
// it changes, and peers get what was in order before.
func (s *ServerTLS) Config(trouble func(error)) (*tls.Config, error) {
	f := &served{ServerTLS: *s, held: pair.Hold(s.Certificate, s.Key)}
	if err := f.look(); err != nil {
		return nil, err
	}
	said := ""
	return &tls.Config{MinVersion: tls.VersionTLS12, GetConfigForClient: func(*tls.ClientHelloInfo) (*tls.Config, error) {
		f.mu.Lock()
		defer f.mu.Unlock()
		if err := f.look(); err == nil {
			said = ""
		} else if err.Error() != said {
			said = err.Error()
			trouble(err)
		}
		return f.conf, nil
	}}, nil
}

// served is what peers are shown.
type served struct {
	ServerTLS
	held *pair.Held

	mu   sync.Mutex
	conf *tls.Config // guarded by mu; of the files when all were in order last
}

// look takes what the files have now. The caller holds f.mu, or is alone.
func (f *served) look() error {
	if _, err := f.held.Look(); err != nil {
		return err
	}
	conf := &tls.Config{Certificates: []tls.Certificate{*f.held.Now()}, MinVersion: tls.VersionTLS12}
	if f.ClientCA != "" {
		var err error
		if conf.ClientCAs, err = pool(f.ClientCA); err != nil {
			return err
		}
		conf.ClientAuth = tls.RequireAndVerifyClientCert
	}
	f.conf = conf
	return nil
}

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
