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

// ServeWithLeaf starts a server, and another one in a JetStream domain of its own that is
// joined to it by a link which can be cut: a centre, and a ward.
func ServeWithLeaf(t testing.TB, domain string) (centre, ward *Cluster, link *Link) {
	t.Helper()
	dir := t.TempDir()
	centre, ward = &Cluster{t: t, servers: make([]*server.Server, 1)}, &Cluster{t: t, servers: make([]*server.Server, 1)}
	options := func(name string) *server.Options {
		return &server.Options{
			ServerName: name, Host: "127.0.0.1", Port: server.RANDOM_PORT, NoLog: true, NoSigs: true,
			JetStream: true, StoreDir: filepath.Join(dir, name), SyncAlways: true,
		}
	}
	c := options("centre")
	c.LeafNode = server.LeafNodeOpts{Host: "127.0.0.1", Port: vacant(t), NoAdvertise: true} // else the ward finds a way around the link
	centre.options = []*server.Options{c}
	link = serveLink(t, fmt.Sprintf("127.0.0.1:%d", c.LeafNode.Port))
	w := options("ward")
	w.JetStreamDomain = domain
	w.LeafNode = server.LeafNodeOpts{ReconnectInterval: 200 * time.Millisecond, Remotes: []*server.RemoteLeafOpts{{URLs: []*url.URL{{Scheme: "nats", Host: link.l.Addr().String()}}}}}
	ward.options = []*server.Options{w}
	for _, all := range []*Cluster{centre, ward} {
		all.Start(0)
		t.Cleanup(func() { all.Stop(0) })
	}
	return centre, ward, link
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
	k.conns = append(k.conns, from, there)
	k.mu.Unlock()
	go func() { _, _ = io.Copy(there, from); there.Close() }()
	_, _ = io.Copy(from, there)
}

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
