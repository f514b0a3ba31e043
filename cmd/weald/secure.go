package main

import (
	"cmp"
	"context"
	"crypto/tls"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"sync"
	"time"

	"weald/config"
	"weald/webui/cert"
)

// certOptions says where the certificate of a configuration's pages is.
func certOptions(c *config.Config) cert.Options {
	o := cert.Options{Certificate: c.TLS.Certificate, Key: c.TLS.Key, Dir: c.TLS.Folder, Names: c.Names, Now: time.Now}
	if c.Share() != "" { // which shares the machine's: that looks after it
		o.Certificate, o.Key = o.Files()
		o.Dir = ""
	}
	return o
}

// secure is what a running daemon serves its pages with; a nil one is plain HTTP.
type secure struct{ *cert.Keeper }

func openSecure(c *config.Config, log *slog.Logger) (*secure, error) {
	if c.TLS == nil {
		return nil, nil
	}
	o := certOptions(c)
	o.Log = log
	k, err := cert.Keep(o)
	return &secure{k}, err
}

// config is for the server, nil for plain HTTP.
func (s *secure) config() *tls.Config {
	if s == nil {
		return nil
	}
	return s.Config()
}

// scheme is how addresses of the pages begin.
func (s *secure) scheme() string {
	if s == nil {
		return "http://"
	}
	return "https://"
}

// trouble says, for /readyz, what is wrong with the certificate.
func (s *secure) trouble() string {
	if s == nil {
		return ""
	}
	return s.Trouble()
}

// ends is when the certificate does, for Prometheus; nil without one.
func (s *secure) ends() func() time.Time {
	if s == nil {
		return nil
	}
	return s.Ends
}

// certificate says for doctor how the certificate of the pages is.
func (d *doctor) certificate(c *config.Config) {
	if c.TLS == nil {
		d.ok("pages", "served on this machine alone, without TLS")
		return
	}
	d.served("pages", certOptions(c), "browsers refuse them then")
}

// served says how a certificate is that this machine shows to who connects.
func (d *doctor) served(about string, o cert.Options, why string) {
	fine, wrongs := cert.Check(o)
	if fine != "" && len(wrongs) == 0 {
		d.ok(about, "%s", fine)
	}
	for _, w := range wrongs {
		d.wrong(about, w, why, "see weald tls, or whoever makes certificates")
	}
}

// localPages is where a command on the daemon's machine finds its pages.
func localPages(c *config.Config) (string, error) {
	host, port, err := net.SplitHostPort(c.Listen)
	if err != nil {
		return "", err
	}
	if addr, err := netip.ParseAddr(cmp.Or(host, "0.0.0.0")); err == nil && addr.Unmap().IsUnspecified() {
		host = "127.0.0.1"
	}
	address := net.JoinHostPort(host, port)
	if c.TLS == nil {
		return "http://" + address, nil
	}
	o := certOptions(c)
	file, _ := o.Files()
	conf, err := cert.Pin(file)
	if err != nil {
		return "", err
	}
	pins.Store(address, conf)
	return "https://" + address, nil
}

// pins are the certificates of daemons whose configuration was read, by address: a
// command on the daemon's machine trusts the one that is in its folder, whoever
// vouches for it. A *tls.Config each.
var pins sync.Map

// pinning connects to daemons whose certificate is known.
var pinning = &http.Transport{DialTLSContext: func(ctx context.Context, network, address string) (net.Conn, error) {
	d := tls.Dialer{}
	if conf, known := pins.Load(address); known {
		d.Config = conf.(*tls.Config)
	}
	return d.DialContext(ctx, network, address)
}}
