package natstest

import (
	"fmt"
	"io"
	"net"
	"net/url"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
)

// ServeCentre starts a server that takes leaves, over a link which can be cut.
func ServeCentre(t testing.TB) (*Cluster, *Link) {
	t.Helper()
	o := options("centre", filepath.Join(t.TempDir(), "centre"))
	o.LeafNode = server.LeafNodeOpts{Host: "127.0.0.1", Port: vacant(t), NoAdvertise: true} // else a ward finds a way around the link
	return serve(t, o), serveLink(t, fmt.Sprintf("127.0.0.1:%d", o.LeafNode.Port))
}

// ServeWard starts a server in a JetStream domain of its own that is joined to a centre.
func ServeWard(t testing.TB, domain string, link *Link) *Cluster {
	t.Helper()
	o := options("ward", filepath.Join(t.TempDir(), "ward"))
	o.JetStreamDomain = domain
	o.LeafNode = server.LeafNodeOpts{ReconnectInterval: 200 * time.Millisecond, Remotes: []*server.RemoteLeafOpts{{URLs: []*url.URL{{Scheme: "nats", Host: link.Address()}}}}}
	return serve(t, o)
}

func options(name, dir string) *server.Options {
	return &server.Options{
		ServerName: name, Host: "127.0.0.1", Port: server.RANDOM_PORT, NoLog: true, NoSigs: true,
		JetStream: true, StoreDir: dir, SyncAlways: true,
	}
}

func serve(t testing.TB, o *server.Options) *Cluster {
	t.Helper()
	c := &Cluster{t: t, options: []*server.Options{o}, servers: make([]*server.Server, 1)}
	c.Start(0)
	t.Cleanup(func() { c.Stop(0) })
	return c
}

// A Link passes bytes on, unless it is cut.
type Link struct {
	l net.Listener

	mu    sync.Mutex
	cut   bool // guarded by mu, as is all below
	conns []net.Conn
}

func serveLink(t testing.TB, to string) *Link {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	k := &Link{l: l}
	t.Cleanup(func() { l.Close(); k.Cut() })
	go func() {
		for {
			from, err := l.Accept()
			if err != nil {
				return
			}
			go k.pass(from, to)
		}
	}()
	return k
}

func (k *Link) pass(from net.Conn, to string) {
	defer from.Close()
	k.mu.Lock()
	cut := k.cut
	k.mu.Unlock()
	if cut {
		return
	}
	there, err := net.Dial("tcp", to)
	if err != nil {
		return
	}
	defer there.Close()
	k.mu.Lock()
	if cut = k.cut; !cut { // else it was cut while this was dialled
		k.conns = append(k.conns, from, there)
	}
	k.mu.Unlock()
	if cut {
		return
	}
	go func() { _, _ = io.Copy(there, from); there.Close() }()
	_, _ = io.Copy(from, there)
}

// Address is where leaves connect.
func (k *Link) Address() string { return k.l.Addr().String() }

// Cut ends what passes, and lets nothing pass until Mend.
func (k *Link) Cut() { k.set(true) }

// Mend lets bytes pass again.
func (k *Link) Mend() { k.set(false) }

func (k *Link) set(cut bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.cut = cut
	for _, c := range k.conns {
		c.Close()
	}
	k.conns = nil
}
