package webui

import (
	"bufio"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"
)

// pipes is a listener in memory, so that a test can run on a clock of its own.
type pipes chan net.Conn

func (l pipes) Accept() (net.Conn, error) {
	if c, ok := <-l; ok {
		return c, nil
	}
	return nil, net.ErrClosed
}
func (l pipes) Close() error   { close(l); return nil }
func (l pipes) Addr() net.Addr { return &net.TCPAddr{} }

func (l pipes) dial() net.Conn {
	ours, theirs := net.Pipe()
	l <- theirs
	return ours
}

// onPipes runs the stack over a listener in memory until the test ends; secure is for
// TLS, nil for none.
func (s *stack) onPipes(secure *tls.Config) pipes {
	l := make(pipes)
	ctx, stop := context.WithCancel(context.Background())
	var running sync.WaitGroup
	running.Go(func() { Serve(ctx, l, secure, s.handler, slog.New(slog.DiscardHandler)) })
	s.t.Cleanup(func() { stop(); running.Wait() })
	return l
}

// until returns when the other side has hung up, reading what it says.
func until(c net.Conn) (said []byte) {
	said, _ = io.ReadAll(c)
	return said
}

// Clients that send their headers byte by byte, as if they were always about to ask,
// are gone after five seconds, whatever they say; meanwhile others are answered at once.
func TestSlowHeaders(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newStack(t, built)
		l := s.onPipes(nil)
		const attackers = 300
		var attack sync.WaitGroup
		for range attackers {
			attack.Go(func() {
				c, began := l.dial(), time.Now()
				defer c.Close()
				if _, err := io.WriteString(c, "GET /api/v1/places HTTP/1.1\r\nHost: 10.0.0.5\r\nX: "); err != nil {
					t.Error(err)
				}
				gone := make(chan struct{})
				go func() { defer close(gone); until(c) }()
				for {
					select {
					case <-gone:
						if took := time.Since(began); took != headerWithin {
							t.Errorf("it was let stay for %v", took)
						}
						return
					case <-time.After(500 * time.Millisecond):
						io.WriteString(c, "x")
					}
				}
			})
		}
		for range 20 {
			time.Sleep(300 * time.Millisecond)
			began := time.Now()
			c := l.dial()
			io.WriteString(c, "GET /api/v1/places HTTP/1.1\r\nHost: 10.0.0.5\r\nConnection: close\r\n\r\n")
			if said := until(c); !strings.HasPrefix(string(said), "HTTP/1.1 200") || time.Since(began) != 0 {
				t.Fatalf("after %v: %.100s", time.Since(began), said)
			}
		}
		attack.Wait()
	})
}

// The other ways to keep a connection: to say nothing, to send a body that never ends,
// to ask for more than one takes, to ask once and stay.
func TestSlowClientsAreGone(t *testing.T) {
	for _, c := range []struct {
		what, says string
		tls        bool
		drip       bool // and goes on, a byte a second
		reads      bool
		gone       time.Duration
	}{
		{"nothing", "", false, false, true, headerWithin},
		{"a handshake", "\x16", true, false, true, headerWithin},
		{"a body", "POST /api/v1/places/bed-4/marks HTTP/1.1\r\nHost: 10.0.0.5\r\nContent-Type: application/json\r\nContent-Length: 1000\r\n\r\n{", false, true, true, bodyWithin},
		{"an answer", "GET /assets/a-1b2c3d.js HTTP/1.1\r\nHost: 10.0.0.5\r\n\r\n", false, false, false, writeWithin},
		{"no more", "GET /healthz HTTP/1.1\r\nHost: 10.0.0.5\r\n\r\n", false, false, true, idleFor},
	} {
		t.Run(c.what, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := newStack(t, built)
				var secure *tls.Config
				if c.tls {
					secure = &tls.Config{GetCertificate: func(*tls.ClientHelloInfo) (*tls.Certificate, error) { return nil, errors.New("nobody asked") }}
				}
				l := s.onPipes(secure)
				ours, theirs := net.Pipe()
				gone := make(chan struct{})
				l <- &watched{Conn: theirs, closed: sync.OnceFunc(func() { close(gone) })}
				began := time.Now()
				var client sync.WaitGroup
				defer func() { ours.Close(); client.Wait() }()
				client.Go(func() {
					io.WriteString(ours, c.says)
					for c.drip {
						time.Sleep(time.Second)
						if _, err := io.WriteString(ours, " "); err != nil {
							return
						}
					}
				})
				if c.reads {
					client.Go(func() { until(ours) })
				}
				<-gone
				if took := time.Since(began); took < c.gone || took > c.gone+time.Second {
					t.Errorf("gone after %v, want %v", took, c.gone)
				}
			})
		})
	}
}

// bodyWithin is how long huma waits for a body, unless a route says otherwise; without
// it readWithin would be the bound.
const bodyWithin = 5 * time.Second

// A watched connection tells when it is closed.
type watched struct {
	net.Conn
	closed func()
}

func (w *watched) Close() error { defer w.closed(); return w.Conn.Close() }

// from is a connection from an address.
type from struct {
	net.Conn
	addr string
}

func (f *from) RemoteAddr() net.Addr { a, _ := net.ResolveTCPAddr("tcp", f.addr); return a }

// Connections beyond the bounds are hung up on, and room is made by those that go. One
// address does not take the room of others, nor does a household that changes its own.
func TestConnectionsAreBounded(t *testing.T) {
	l := make(pipes)
	g := &door{Listener: l, tally: tally{most: 6, each: 2}}
	accepted := make(chan net.Conn)
	go func() {
		defer close(accepted)
		for {
			c, err := g.Accept()
			if err != nil {
				return
			}
			accepted <- c
		}
	}()
	// in reports whether a connection from an address is let in.
	in := func(addr string) (net.Conn, bool) {
		ours, theirs := net.Pipe()
		l <- &from{theirs, addr}
		hungUp := make(chan struct{})
		go func() { defer close(hungUp); ours.Read(make([]byte, 1)) }()
		select {
		case c := <-accepted:
			return c, true
		case <-hungUp:
			return nil, false
		}
	}
	var open []net.Conn
	for i, c := range []struct {
		addr string
		want bool
	}{
		{"192.0.2.1:1", true}, {"192.0.2.1:2", true}, {"192.0.2.1:3", false},
		{"[2001:db8::1]:1", true}, {"[2001:db8::2]:1", true}, {"[2001:db8::3]:1", false}, // one household
		{"127.0.0.1:1", true}, {"127.0.0.1:2", true}, {"127.0.0.1:3", false}, {"192.0.2.2:1", false}, // full
	} {
		conn, ok := in(c.addr)
		if ok != c.want {
			t.Errorf("%d: %s is let in: %t", i, c.addr, ok)
		}
		if ok {
			open = append(open, conn)
		}
	}
	open[4].Close()
	open[4].Close() // which makes room once
	if _, ok := in("192.0.2.1:4"); ok {
		t.Error("one address has more than its share")
	}
	if c, ok := in("127.0.0.1:4"); !ok {
		t.Error("this machine has as much as there is")
	} else {
		c.Close()
	}
	for _, c := range open[:4] {
		c.Close()
	}
	l.Close()
	if _, ok := <-accepted; ok || len(g.by) != 0 || g.all != 1 {
		t.Errorf("%d are counted, of %v", g.all, g.by)
	}
}

// Requests under way are bounded, in all and by address; that the daemon is alive can
// always be asked.
func TestRequestsAreBounded(t *testing.T) {
	hold, entered := make(chan struct{}), make(chan struct{})
	h := crowd(&tally{most: 3, each: 2}, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/slow" {
			entered <- struct{}{}
			<-hold
		}
	}))
	get := func(path, from string) int {
		r := httptest.NewRequest("GET", path, nil)
		r.RemoteAddr = from
		rec := httptest.NewRecorder()
		h.ServeHTTP(rec, r)
		if rec.Code == 503 && rec.Header().Get("Retry-After") == "" {
			t.Error("nobody says when to ask again")
		}
		return rec.Code
	}
	var slow sync.WaitGroup
	for _, from := range []string{"192.0.2.1:1", "192.0.2.1:2"} {
		slow.Go(func() { get("/slow", from) })
		<-entered
	}
	if a, b := get("/x", "192.0.2.1:3"), get("/x", "192.0.2.2:1"); a != 503 || b != 200 {
		t.Errorf("a third: %d; somebody else: %d", a, b)
	}
	slow.Go(func() { get("/slow", "127.0.0.1:1") })
	<-entered
	if a, b, c := get("/x", "192.0.2.2:1"), get("/healthz", "192.0.2.2:1"), get("/live", "192.0.2.2:1"); a != 503 || b != 200 || c != 200 {
		t.Errorf("when full: %d; alive: %d; live: %d", a, b, c)
	}
	close(hold)
	slow.Wait()
	if got := get("/x", "192.0.2.1:3"); got != 200 {
		t.Errorf("afterwards: %d", got)
	}
}

// Everything that is changed is kept, so that who changes too much has to wait.
func TestChangesAreBounded(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newStack(t, built)
		post := func() int {
			return s.do(httptest.NewRequest("POST", "/api/v1/nothing", strings.NewReader("{}"))).Code
		}
		for i := range mostChanges {
			if got := post(); got != 404 {
				t.Fatalf("after %d: %d", i, got)
			}
		}
		if got := post(); got != 429 {
			t.Errorf("one more: %d", got)
		}
		if rec := s.get("/api/v1/places"); rec.Code != 200 {
			t.Errorf("reading: %d", rec.Code)
		}
		time.Sleep(changesEvery)
		if a, b := post(), post(); a != 404 || b != 429 {
			t.Errorf("after a while: %d, %d", a, b)
		}
	})
}

// What a request may be long and deep.
func TestSizesOfRequests(t *testing.T) {
	s := newStack(t, built)
	addr := s.serve()
	say := func(text string) string {
		t.Helper()
		c, err := net.Dial("tcp", addr)
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		go io.WriteString(c, text) // which may never be read to its end
		line, err := bufio.NewReader(c).ReadString('\n')
		if err != nil && !errors.Is(err, io.EOF) {
			return "hung up"
		}
		_, status, _ := strings.Cut(strings.TrimSpace(line), " ")
		return status
	}
	header := func(n int) string {
		return fmt.Sprintf("GET /api/v1/places HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\nX-Long: %s\r\n\r\n", strings.Repeat("x", n))
	}
	query := func(n int) string {
		return fmt.Sprintf("GET /api/v1/places/bench-1/signals?name=%s HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n", strings.Repeat("x", n))
	}
	body := func(b string) string {
		return fmt.Sprintf("POST /api/v1/places/bench-1/marks HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\nContent-Type: application/json\r\nContent-Length: %d\r\n\r\n%s", len(b), b)
	}
	for _, c := range []struct{ what, says, want string }{
		{"a long header", header(maxHeader / 2), "200"},
		{"one too long", header(2 * maxHeader), "431"},
		{"a long query", query(maxHeader / 2), "4"},
		{"one too long", query(2 * maxHeader), "431"},
		{"a large body", body(`{"what":"` + strings.Repeat("x", maxBody) + `"}`), "413"},
		{"a deep body", body(strings.Repeat(`{"what":`, 50000) + strings.Repeat("}", 50000)), "4"},
		{"deep lists", body(strings.Repeat("[", maxBody/2-1) + strings.Repeat("]", maxBody/2-1)), "4"},
		{"no JSON", body("\x00\xff"), "4"},
	} {
		if got := say(c.says); !strings.HasPrefix(got, c.want) {
			t.Errorf("%s: %s, want %s", c.what, got, c.want)
		}
	}
	if rec := s.get("/healthz"); rec.Code != 200 {
		t.Errorf("afterwards it is not well: %d", rec.Code)
	}
}
