package config

import (
	"time"

	"weald/config/internal/shape"
	"weald/config/internal/tree"
	"weald/ingest/tcp"
	"weald/ingest/tcp/wire"
)

// A Dial is a TCP connection to a bridge that listens.
type Dial struct {
	Address string
	Idle    time.Duration // silence after which it is given up; negative for never
	TLS     *wire.ClientTLS
}

// A Listen is a TCP port for a bridge that dials.
type Listen struct {
	Address string
	Idle    time.Duration // as of a Dial
	Quiet   time.Duration // silence after which another peer may take the place
	TLS     *wire.ServerTLS
}

func (r *reader) tcp(t shape.TCP, b shape.Bridge, path tree.Path) Link {
	listens := r.doc.Has(path.With("listen"))
	switch {
	case listens && r.doc.Has(path.With("dial")):
		r.doc.Report(path.With("listen"), "tcp has both dial and listen: give one of them")
		return Link{}
	case listens:
		return Link{Listen: r.listenOn(t, b, path)}
	case r.doc.Has(path.With("dial")):
		return Link{Dial: r.dial(t, b, path)}
	}
	r.doc.Report(path, "tcp names no other side: give dial with an address and a port, or listen with a port")
	return Link{}
}

func (r *reader) dial(t shape.TCP, b shape.Bridge, path tree.Path) *Dial {
	out := &Dial{Address: t.Dial, Idle: r.idle(t, b, path.With("idle"))}
	if !r.doc.Faulty(path.With("dial")) {
		r.address(t.Dial, path.With("dial"))
	}
	if t.Quiet != nil {
		r.doc.Report(path.With("quiet"), "quiet is about a second bridge that connects, but this link dials: leave it out")
	}
	if t.TLS != nil {
		if t.TLS.ClientCA != "" {
			r.doc.Report(path.With("tls", "client_ca"), "client_ca is for a link that listens: give ca for the certificates to trust")
		}
		out.TLS = r.clientTLS(shape.ClientTLS{CA: t.TLS.CA, ServerName: t.TLS.ServerName, Certificate: t.TLS.Certificate, Key: t.TLS.Key}, path.With("tls"))
	}
	return out
}

func (r *reader) listenOn(t shape.TCP, b shape.Bridge, path tree.Path) *Listen {
	out := &Listen{Address: t.Listen, Idle: r.idle(t, b, path.With("idle")), Quiet: tcp.DefaultQuiet}
	if !r.doc.Faulty(path.With("listen")) {
		r.port(t.Listen, "bridge "+string(b.ID), path.With("listen"))
	}
	if t.Quiet != nil {
		if out.Quiet = time.Duration(*t.Quiet); out.Quiet == 0 && !r.doc.Faulty(path.With("quiet")) {
			r.doc.Report(path.With("quiet"), "quiet is 0, so any newcomer would push the bridge out: give a duration above 0")
		}
	}
	at := path.With("tls")
	if t.TLS == nil || r.doc.Faulty(at) {
		return out
	}
	for _, wrong := range []struct{ key, value string }{{"ca", t.TLS.CA}, {"server_name", t.TLS.ServerName}} {
		if wrong.value != "" {
			r.doc.Report(at.With(wrong.key), "%s is for a link that dials: leave it out, or give client_ca for whoever may connect", wrong.key)
		}
	}
	for _, needed := range []struct{ key, value string }{{"certificate", t.TLS.Certificate}, {"key", t.TLS.Key}} {
		if needed.value == "" {
			r.doc.Report(at.With(needed.key), "%s is missing: a link that listens needs certificate and key for tls", needed.key)
		}
	}
	out.TLS = r.serverTLS(shape.ServerTLS{Certificate: t.TLS.Certificate, Key: t.TLS.Key, ClientCA: t.TLS.ClientCA}, at)
	return out
}

// idle returns the silence that a connection is given up after: what the file
// says, or the larger of the usual and 3 nominal periods of the fastest source.
// A negative time is never.
func (r *reader) idle(t shape.TCP, b shape.Bridge, path tree.Path) time.Duration {
	var period time.Duration
	for _, s := range b.Sources {
		if p := nominal(s.Rate); p > 0 && (period == 0 || p < period) {
			period = p
		}
	}
	if t.Idle == nil {
		return max(tcp.DefaultIdle, 3*period)
	}
	d := time.Duration(*t.Idle)
	if d == 0 {
		return -1
	}
	if d < period {
		r.doc.Report(path, "idle is %v, but a reading comes only every %v: give more than that, or the connection is lost between two readings", d, period)
	}
	return d
}

func (r *reader) clientTLS(t shape.ClientTLS, path tree.Path) *wire.ClientTLS {
	if (t.Certificate == "") != (t.Key == "") {
		r.doc.Report(path, "tls has only one of certificate and key: give both or neither")
	}
	return &wire.ClientTLS{
		CA: r.path(t.CA, r.folder), ServerName: t.ServerName,
		Certificate: r.path(t.Certificate, r.folder), Key: r.path(t.Key, r.folder),
	}
}

func (r *reader) serverTLS(t shape.ServerTLS, path tree.Path) *wire.ServerTLS {
	for _, file := range []struct{ key, value string }{{"certificate", t.Certificate}, {"key", t.Key}} {
		if file.value == "" && !r.doc.Faulty(path.With(file.key)) {
			r.doc.Report(path.With(file.key), "%s is empty: give the path of a PEM file", file.key)
		}
	}
	return &wire.ServerTLS{
		Certificate: r.path(t.Certificate, r.folder), Key: r.path(t.Key, r.folder), ClientCA: r.path(t.ClientCA, r.folder),
	}
}
