package webui

import (
	"crypto/tls"
	"crypto/x509"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/gorilla/websocket"

	"weald/webui/cert"
)

// secured runs the stack over TLS under a name, and returns its address and what a
// client that trusts it needs.
func (s *stack) secured(name string) (addr string, client *tls.Config) {
	s.t.Helper()
	dir := filepath.Join(s.t.TempDir(), "tls")
	k, err := cert.Keep(cert.Options{Dir: dir, Names: []string{name}, Now: time.Now, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		s.t.Fatal(err)
	}
	ca, err := os.ReadFile(filepath.Join(dir, cert.CAFile))
	if err != nil {
		s.t.Fatal(err)
	}
	pool := x509.NewCertPool()
	pool.AppendCertsFromPEM(ca)
	return s.serveWith(k.Config()), &tls.Config{RootCAs: pool}
}

// The response headers that the OWASP Secure Headers Project proposes for every answer
// (owasp.org/www-project-secure-headers, "best practices"), with values as strict as
// theirs or stricter. Clear-Site-Data is for the end of a session alone.
var owasp = map[string]string{
	"Content-Security-Policy":           `default-src 'self'.*object-src 'none'.*frame-ancestors 'none'`,
	"X-Content-Type-Options":            `^nosniff$`,
	"X-Frame-Options":                   `^(?i)deny$`,
	"X-Permitted-Cross-Domain-Policies": `^none$`,
	"X-DNS-Prefetch-Control":            `^off$`,
	"Referrer-Policy":                   `^no-referrer$`,
	"Cross-Origin-Opener-Policy":        `^same-origin$`,
	"Cross-Origin-Embedder-Policy":      `^require-corp$`,
	"Cross-Origin-Resource-Policy":      `^same-origin$`,
	"Permissions-Policy":                `camera=\(\).*geolocation=\(\).*microphone=\(\)`,
	"Cache-Control":                     `no-store|no-cache|immutable`,
}

// telling are headers that it proposes to leave out, as they say what is running.
var telling = []string{"Server", "X-Powered-By", "Via", "X-Runtime"}

// ask asks over a connection of its own, under a name.
func ask(t *testing.T, scheme, addr, host, method, path string, conf *tls.Config, more http.Header) *http.Response {
	t.Helper()
	c := &http.Client{
		Transport:     &http.Transport{TLSClientConfig: conf, DisableKeepAlives: true},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
	r, err := http.NewRequest(method, scheme+"://"+addr+path, strings.NewReader(""))
	if err != nil {
		t.Fatal(err)
	}
	r.Host = host
	for k, v := range more {
		r.Header[k] = v
	}
	res, err := c.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	io.Copy(io.Discard, res.Body)
	res.Body.Close()
	return res
}

func TestHeadersOfEveryAnswer(t *testing.T) {
	s := newStack(t, built)
	s.handler = named(t, s, "weald.larch.example")
	addr, conf := s.secured("weald.larch.example")
	for _, c := range []struct {
		host, path, method string
		code               int
	}{
		{"weald.larch.example", "/", "GET", 200}, {"weald.larch.example", "/api/v1/places", "GET", 200},
		{"weald.larch.example", "/assets/a-1b2c3d.js", "GET", 200}, {"weald.larch.example", "/assets/no.js", "GET", 404},
		{"weald.larch.example", "/api/v1/nothing", "GET", 404}, {"weald.larch.example", "/api/v1/places", "POST", 405},
		{"weald.larch.example", "/metrics", "GET", 200}, {"weald.larch.example", "/live", "GET", 400},
		{"localhost:8420", "/", "GET", 200}, {"rebound.example", "/", "GET", 421},
	} {
		res := ask(t, "https", addr, c.host, c.method, c.path, conf, nil)
		if res.StatusCode != c.code {
			t.Errorf("%s %s as %s: %d, want %d", c.method, c.path, c.host, res.StatusCode, c.code)
		}
		for header, want := range owasp {
			if got := res.Header.Values(header); len(got) != 1 || !regexp.MustCompile(want).MatchString(got[0]) {
				t.Errorf("%s %s: %s: %q, want %s", c.method, c.path, header, got, want)
			}
		}
		for _, header := range telling {
			if got := res.Header.Get(header); got != "" {
				t.Errorf("%s %s tells %s: %s", c.method, c.path, header, got)
			}
		}
		// RFC 6797: only over TLS; and not where it would be said of other programs.
		if got, want := res.Header.Get("Strict-Transport-Security") != "", !strings.HasPrefix(c.host, "localhost"); got != want {
			t.Errorf("%s as %s: HSTS %t", c.path, c.host, got)
		}
	}
	plain := s.serve()
	if res := ask(t, "http", plain, "weald.larch.example", "GET", "/", nil, nil); res.StatusCode != 200 || res.Header.Get("Strict-Transport-Security") != "" {
		t.Errorf("without TLS: %d, HSTS %q", res.StatusCode, res.Header.Get("Strict-Transport-Security"))
	}
}

// named is the stack's handler with names of the configuration.
func named(t *testing.T, s *stack, names ...string) http.Handler {
	t.Helper()
	o := s.options
	o.Hosts = names
	h, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	return h
}

// Pages of other origins may neither write nor follow live, with TLS or without, and
// nor may a page whose name was made to point at this machine, which for its browser
// is of our own origin.
func TestOtherOriginsAndNames(t *testing.T) {
	const name = "weald.larch.example"
	s := newStack(t, built)
	s.handler = named(t, s, name)
	secure, conf := s.secured(name)
	plain := s.serve()
	for _, c := range []struct {
		host, origin, site string
		code               int // of a change that there is no such route for
		live               bool
	}{
		{name, "", "", 405, true}, // a program
		{name, "SCHEME://" + name, "same-origin", 405, true},
		{name, "SCHEME://elsewhere.example", "cross-site", 403, false},
		{name, "SCHEME://elsewhere.example", "", 403, false}, // an old browser
		{name, "SCHEME://below." + name, "same-site", 403, false},
		{name, "SCHEME://" + name + ":9", "same-site", 403, false},
		{name, "null", "cross-site", 403, false}, // a frame in a sandbox
		{"localhost", "SCHEME://localhost", "same-origin", 405, true},
		{"rebound.example", "SCHEME://rebound.example", "same-origin", 421, false},
		{"rebound.example", "", "", 421, false},
		{"192.0.2.1", "SCHEME://192.0.2.1", "same-origin", 421, false}, // over loopback nobody is called so
	} {
		for scheme, addr := range map[string]string{"https": secure, "http": plain} {
			h := http.Header{}
			if c.origin != "" {
				h.Set("Origin", strings.Replace(c.origin, "SCHEME", scheme, 1))
			}
			if c.site != "" {
				h.Set("Sec-Fetch-Site", c.site)
			}
			if res := ask(t, scheme, addr, c.host, "POST", "/api/v1/places", conf, h); res.StatusCode != c.code {
				t.Errorf("%s %+v: a change is answered %d", scheme, c, res.StatusCode)
			}
			h.Del("Sec-Fetch-Site") // which browsers do not send with WebSockets everywhere
			h.Set("Host", c.host)
			d := websocket.Dialer{Subprotocols: []string{"weald.live.v1"}, TLSClientConfig: conf, HandshakeTimeout: 30 * time.Second}
			conn, res, err := d.Dial(strings.Replace(scheme, "http", "ws", 1)+"://"+addr+"/live", h)
			if err == nil {
				conn.Close()
			}
			if (err == nil) != c.live || res == nil {
				t.Errorf("%s %+v: live %v", scheme, c, err)
			}
		}
	}
	// What came over TLS is not to be steered by a page that anybody on the way wrote.
	d := websocket.Dialer{TLSClientConfig: conf, HandshakeTimeout: 30 * time.Second}
	if conn, _, err := d.Dial("wss://"+secure+"/live", http.Header{"Host": {name}, "Origin": {"http://" + name}}); err == nil {
		conn.Close()
		t.Error("a page that came without TLS follows live over TLS")
	}
}

// Who asks without TLS where there is TLS is told so.
func TestPlainRequestsToTLS(t *testing.T) {
	s := newStack(t, built)
	addr, _ := s.secured("weald.larch.example")
	conn, err := net.Dial("tcp", addr)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	io.WriteString(conn, "GET / HTTP/1.1\r\nHost: localhost\r\n\r\n")
	answer, _ := io.ReadAll(conn)
	if !strings.HasPrefix(string(answer), "HTTP/1.0 400") || strings.Contains(string(answer), "weald") {
		t.Errorf("answered %q", answer)
	}
}
