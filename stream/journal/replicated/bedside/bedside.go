// Package bedside runs the server of a ward's own log in the process of the daemon: a NATS
// server with JetStream, in a domain of its own, which listens to nobody, and which is
// joined as a leaf to the servers of a centre whenever these can be reached. What the
// daemon acknowledges is on the disk of this machine, whether or not there is a link.
package bedside

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"log/slog"
	"net/url"
	"os"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nkeys"
)

// Options are what Serve needs.
type Options struct {
	Dir         string   // folder for what the server keeps
	Machine     string   // what it is called at the centre
	Domain      string   // JetStream domain, by which the centre knows its log
	Centre      []string // tls://host:port and nats://host:port of the leaf listeners there
	Credentials string   // file with credentials of NATS that show the centre who this is; "" for none
	Key         string   // file with a key for that in their place; "" for none
	CA          string   // PEM file of whom to trust in tls://; "" for whom the system trusts
	Log         *slog.Logger
}

// startWithin is how long a server may take to open what it has kept: a second for a
// gigabyte after a crash.
const startWithin = 2 * time.Minute

// A Server is one that runs.
type Server struct{ server *server.Server }

// Serve starts a server. It is there when Serve returns, and until End.
func Serve(o Options) (*Server, error) {
	remote := &server.RemoteLeafOpts{Credentials: o.Credentials}
	if o.Key != "" {
		seed, err := seedIn(o.Key)
		if err != nil {
			return nil, err
		}
		remote.Nkey = seed
	}
	for _, address := range o.Centre {
		u, err := url.Parse(address)
		if err != nil {
			return nil, err
		}
		remote.TLS = remote.TLS || u.Scheme == "tls"
		remote.URLs = append(remote.URLs, u)
	}
	if remote.TLS {
		remote.TLSConfig = &tls.Config{MinVersion: tls.VersionTLS12}
		if o.CA != "" {
			pem, err := os.ReadFile(o.CA)
			if err != nil {
				return nil, err
			}
			remote.TLSConfig.RootCAs = x509.NewCertPool()
			if !remote.TLSConfig.RootCAs.AppendCertsFromPEM(pem) {
				return nil, fmt.Errorf("%s has no certificate in it", o.CA)
			}
		}
	}
	s, err := server.NewServer(&server.Options{
		ServerName: o.Machine, DontListen: true, NoSigs: true, NoLog: true,
		JetStream: true, StoreDir: o.Dir, SyncAlways: true, JetStreamDomain: o.Domain,
		LeafNode: server.LeafNodeOpts{ReconnectInterval: time.Second, Remotes: []*server.RemoteLeafOpts{remote}},
	})
	if err != nil {
		return nil, fmt.Errorf("the log of this machine: %w", err)
	}
	s.SetLoggerV2(logger{o.Log}, false, false, false)
	s.Start()
	if !s.ReadyForConnections(startWithin) {
		s.Shutdown()
		return nil, errors.New("the log of this machine does not open; see whether its disk is full")
	}
	return &Server{s}, nil
}

// seedIn returns the key that a file has, as the server wants it.
func seedIn(path string) (string, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return "", err
	}
	key, err := nkeys.ParseDecoratedNKey(b)
	if err != nil {
		return "", fmt.Errorf("credentials %s: neither a key of weald cluster key nor credentials of NATS: %w", path, err)
	}
	seed, err := key.Seed()
	return string(seed), err
}

// Option lets a connection lead to the server, whatever its address.
func (s *Server) Option() nats.Option { return nats.InProcessServer(s.server) }

// End stops the server, and returns when all that it has is on the disk.
func (s *Server) End() {
	s.server.Shutdown()
	s.server.WaitForShutdown()
}

// A logger says what people may have to do something about.
type logger struct{ log *slog.Logger }

const todo = "see that the servers of the centre run, can be reached from here, and know this machine; the ward goes on without them"

func (l logger) Noticef(string, ...any) {}
func (l logger) Debugf(string, ...any)  {}
func (l logger) Tracef(string, ...any)  {}

func (l logger) Warnf(format string, v ...any) {
	l.log.Warn("the log of this machine: "+fmt.Sprintf(format, v...), slog.String("do", todo))
}

func (l logger) Errorf(format string, v ...any) {
	l.log.Error("the log of this machine: "+fmt.Sprintf(format, v...), slog.String("do", todo))
}

func (l logger) Fatalf(format string, v ...any) { l.Errorf(format, v...) }
