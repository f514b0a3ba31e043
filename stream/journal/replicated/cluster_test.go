package replicated

import (
	"fmt"
	"net"
	"net/url"
	"path/filepath"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
)

// A cluster is some servers on loopback, in this process.
type cluster struct {
	t       testing.TB
	options []*server.Options
	servers []*server.Server
}

// serve starts so many servers, and waits until they have a leader.
func serve(t testing.TB, n int) *cluster {
	t.Helper()
	c := &cluster{t: t}
	dir := t.TempDir()
	var routes []*url.URL
	for i := range n {
		o := &server.Options{
			ServerName: fmt.Sprintf("s%d", i), Host: "127.0.0.1", Port: server.RANDOM_PORT, NoLog: true, NoSigs: true,
			JetStream: true, StoreDir: filepath.Join(dir, fmt.Sprint(i)), SyncAlways: true,
		}
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
		c.start(i)
	}
	t.Cleanup(func() {
		for i := range c.servers {
			c.stop(i)
		}
	})
	c.eventually("the servers have no leader", func() bool {
		for _, s := range c.servers {
			if n > 1 && s.JetStreamIsLeader() {
				return true
			}
		}
		return n == 1
	})
	return c
}

func (c *cluster) start(i int) {
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

func (c *cluster) stop(i int) {
	if s := c.servers[i]; s != nil {
		s.Shutdown()
		s.WaitForShutdown()
		c.servers[i] = nil
	}
}

// connect returns a connection to all servers.
func (c *cluster) connect() *nats.Conn {
	c.t.Helper()
	var urls string
	for i, o := range c.options {
		if i > 0 {
			urls += ","
		}
		urls += fmt.Sprintf("nats://127.0.0.1:%d", o.Port)
	}
	conn, err := nats.Connect(urls, nats.MaxReconnects(-1), nats.ReconnectWait(50*time.Millisecond))
	if err != nil {
		c.t.Fatal(err)
	}
	c.t.Cleanup(conn.Close)
	return conn
}

func (c *cluster) eventually(what string, f func() bool) {
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
