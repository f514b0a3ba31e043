package config

import (
	"strings"
	"time"
	"unicode"

	"weald/config/internal/shape"
	"weald/config/internal/tree"
	"weald/ingest/mqtt"
	"weald/ingest/tcp/wire"
)

// An MQTT is a bridge's topic at a site's broker.
type MQTT struct {
	Broker             string // host:port
	Version            mqtt.Version
	User, PasswordFile string // "" for none
	ClientID           string // "" for the usual one
	KeepFor            time.Duration
	TLS                *wire.ClientTLS
}

// A Client is a bridge that connects to the daemon's own MQTT listener.
type Client struct{ PasswordFile string }

// A Broker is the daemon's own MQTT listener.
type Broker struct {
	Listen     string
	MaxClients int
	TLS        *wire.ServerTLS
}

// broker checks the listener at the top of the file, nil where there is none.
func (r *reader) broker() *Broker {
	b := r.file.MQTT
	if b == nil {
		return nil
	}
	path := tree.Path{"mqtt"}
	out := &Broker{Listen: b.Listen, MaxClients: b.MaxClients}
	if !r.doc.Faulty(path.With("listen")) {
		r.port(b.Listen, "the daemon's MQTT listener", path.With("listen"))
	}
	if b.TLS != nil {
		out.TLS = r.serverTLS(*b.TLS, path.With("tls"))
	}
	return out
}

func (r *reader) mqtt(m shape.MQTT, bridge string, path tree.Path) Link {
	site := r.doc.Has(path.With("broker"))
	switch {
	case site && m.Listener:
		r.doc.Report(path.With("listener"), "mqtt has both broker and listener: give one of them")
	case site:
		return Link{MQTT: r.siteBroker(m, bridge, path)}
	case m.Listener:
		return Link{Client: r.client(m, path)}
	default:
		r.doc.Report(path, "mqtt names no broker: give broker with an address and a port, or listener: true for the daemon's own")
	}
	return Link{}
}

func (r *reader) siteBroker(m shape.MQTT, bridge string, path tree.Path) *MQTT {
	out := &MQTT{
		Broker: m.Broker, User: string(m.User), PasswordFile: r.path(m.PasswordFile, r.folder),
		ClientID: string(m.ClientID), KeepFor: mqtt.DefaultExpiry,
	}
	if m.Version == "3.1.1" {
		out.Version, out.KeepFor = mqtt.V311, 0
	}
	if !r.doc.Faulty(path.With("broker")) {
		r.address(m.Broker, path.With("broker"))
	}
	if m.PasswordFile != "" && m.User == "" {
		r.doc.Report(path.With("password_file"), "password_file is given, but no user: MQTT knows no password without one, give user")
	}
	r.clientID(m, bridge, path)
	if m.KeepFor != nil && !r.doc.Faulty(path.With("keep_for")) {
		out.KeepFor = time.Duration(*m.KeepFor)
		switch at := path.With("keep_for"); {
		case out.Version == mqtt.V311:
			r.doc.Report(at, "keep_for is for MQTT 5, as 3.1.1 cannot ask for it: leave it out, or give version: 5")
		case out.KeepFor < time.Second:
			r.doc.Report(at, "keep_for is %v: give at least 1s", out.KeepFor)
		}
	}
	if m.TLS != nil {
		out.TLS = r.clientTLS(*m.TLS, path.With("tls"))
	}
	return out
}

// clientID checks the name that the broker knows a bridge's client by.
func (r *reader) clientID(m shape.MQTT, bridge string, path tree.Path) {
	at := path.With("client_id")
	id := string(m.ClientID)
	if id == "" {
		id, at = "weald-"+bridge, path
	}
	r.onlyClient(id, m.Broker, "bridge "+bridge, at)
}

// onlyClient checks the name that a broker knows a client by: a second one of that
// name would push the first out, again and again. Whose says who it is.
func (r *reader) onlyClient(id, broker, whose string, at tree.Path) {
	if len(id) > 128 || strings.ContainsFunc(id, unicode.IsControl) {
		r.doc.Report(at, "client_id is %q: give at most 128 bytes without control characters", tree.Clip(id))
		return
	}
	name := [2]string{strings.ToLower(broker), id}
	if other, taken := r.clients[name]; taken {
		r.doc.Report(at, "the client id %q at %s is that of %s already: give each client_id its own", id, broker, other)
		return
	}
	r.clients[name] = whose
}

func (r *reader) client(m shape.MQTT, path tree.Path) *Client {
	for _, key := range []string{"version", "user", "client_id", "keep_for", "tls"} {
		if r.doc.Has(path.With(key)) {
			r.doc.Report(path.With(key), "%s is about a site's broker, but this bridge connects to the daemon's own listener: leave it out", key)
		}
	}
	if m.PasswordFile == "" {
		r.doc.Report(path.With("password_file"), "password_file is missing: the daemon's own listener lets nobody in without a password")
	}
	if r.file.MQTT == nil {
		r.doc.Report(path.With("listener"), "listener is true, but there is no listener: give mqtt with listen at the top of the file")
	}
	return &Client{PasswordFile: r.path(m.PasswordFile, r.folder)}
}
