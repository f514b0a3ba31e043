// Package natstest, for tests only, has NATS servers with JetStream on loopback, in the
// process of the test.
package natstest

import (
	"fmt"
	"net"
	"net/url"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
)

// A Cluster is some servers that can be stopped and started again.
type Cluster struct {
	t       testing.TB
	options []*server.Options
	servers []*server.Server
}

// Serve starts so many servers, and waits until they have a leader that knows all of them.
func Serve(t testing.TB, n int) *Cluster {
	t.Helper()
	c := &Cluster{t: t}
	dir := t.TempDir()
	var routes []*url.URL
	for i := range n {
		o := options(fmt.Sprintf("s%d", i), filepath.Join(dir, fmt.Sprint(i)))
		if n > 1 {
			o.Cluster = server.ClusterOpts{Name: "test", Host: "127.0.0.1", Port: vacant(t)}
			routes = append(routes, &url.URL{Scheme: "nats", Host: fmt.Sprintf("127.0.0.1:%d", o.Cluster.Port)})
		}
		c.options = append(c.options, o)
	}
	for _, o := range c.options {
		o.Routes = routes
	}
	c.servers = make([]*server.Server, n)
	for i := range n {
		c.Start(i)
	}
	t.Cleanup(func() {
		for i := range c.servers {
			c.Stop(i)
		}
	})
	c.Eventually("the servers have no leader that knows all of them", func() bool {
		for _, s := range c.servers {
			if n > 1 && s.JetStreamIsLeader() && len(s.JetStreamClusterPeers()) == n {
				return true
			}
		}
		return n == 1
	})
	return c
}

// ServeWith starts one server whose options a function has changed.
func ServeWith(t testing.TB, change func(*server.Options)) *Cluster {
	t.Helper()
	o := options("s0", filepath.Join(t.TempDir(), "0"))
	change(o)
	return serve(t, o)
}

// Change has a server read other options while it runs.
func (c *Cluster) Change(i int, change func(*server.Options)) {
	c.t.Helper()
	o := c.options[i].Clone()
	change(o)
	if err := c.servers[i].ReloadOptions(o); err != nil {
		c.t.Fatal(err)
	}
	c.options[i] = o
}

// Start starts a server that was stopped, where it was.
func (c *Cluster) Start(i int) {
	c.t.Helper()
	s, err := server.NewServer(c.options[i])
	if err != nil {
		c.t.Fatal(err)
	}
	s.Start()
	if !s.ReadyForConnections(20 * time.Second) {
		c.t.Fatal("the server does not answer")
	}
	c.servers[i] = s
	if a, ok := s.Addr().(*net.TCPAddr); ok {
		c.options[i].Port = a.Port // it comes back where it was
	}
}

// Stop stops a server.
func (c *Cluster) Stop(i int) {
	if s := c.servers[i]; s != nil {
		s.Shutdown()
		s.WaitForShutdown()
		c.servers[i] = nil
	}
}

// Len is how many servers there are.
func (c *Cluster) Len() int { return len(c.options) }

// Named returns the index of the server with a name, 0 for none.
func (c *Cluster) Named(name string) int {
	return max(0, slices.IndexFunc(c.options, func(o *server.Options) bool { return o.ServerName == name }))
}

// URLs are the addresses of the servers.
func (c *Cluster) URLs() (urls []string) {
	for _, o := range c.options {
		urls = append(urls, fmt.Sprintf("nats://127.0.0.1:%d", o.Port))
	}
	return urls
}

// Connect returns a connection to all servers, until the test ends.
func (c *Cluster) Connect() *nats.Conn {
	c.t.Helper()
	conn, err := nats.Connect(strings.Join(c.URLs(), ","), nats.MaxReconnects(-1), nats.ReconnectWait(50*time.Millisecond))
	if err != nil {
		c.t.Fatal(err)
	}
	c.t.Cleanup(conn.Close)
	return conn
}

// Eventually fails the test with what is wrong if f does not hold within a minute.
func (c *Cluster) Eventually(what string, f func() bool) {
	c.t.Helper()
	for end := time.Now().Add(time.Minute); !f(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			c.t.Fatal(what)
		}
	}
}

// vacant returns a port of loopback that nobody has.
func vacant(t testing.TB) int {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}
