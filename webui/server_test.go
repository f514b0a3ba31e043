package webui

import (
	"compress/gzip"
	"context"
	"crypto/tls"
	"encoding/json"
	"errors"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/gorilla/websocket"
)

func TestPages(t *testing.T) {
	s := newStack(t, built)
	const immutable = "public, max-age=31536000, immutable"
	tests := []struct {
		path, kind, cache string
		status            int
	}{
		{"/", "text/html; charset=utf-8", "no-cache", 200},
		{"/index.html", "text/html; charset=utf-8", "no-cache", 200},
		{"/bed/bed-4", "text/html; charset=utf-8", "no-cache", 200}, // the pages find their own way
		{"/icon.svg", "image/svg+xml", "no-cache", 200},
		{"/assets/a-1b2c3d.js", "text/javascript; charset=utf-8", immutable, 200},
		{"/assets/a-000000.js", "text/plain; charset=utf-8", "no-store", 404},
		{"/.keep", "text/plain; charset=utf-8", "no-store", 404},
		{"/../go.mod", "", "", 307},
		{"/api/v1/nothing", "application/problem+json", "no-store", 404},
		{"/api/v1/places/", "application/problem+json", "no-store", 404},
		{"/metrics", "", "no-store", 200},
	}
	for _, tt := range tests {
		rec := s.get(tt.path)
		h := rec.Header()
		if rec.Code != tt.status || tt.kind != "" && h.Get("Content-Type") != tt.kind || tt.cache != "" && h.Get("Cache-Control") != tt.cache {
			t.Errorf("%s: %d, %s, %s; want %+v", tt.path, rec.Code, h.Get("Content-Type"), h.Get("Cache-Control"), tt)
		}
		if csp := h.Get("Content-Security-Policy"); !strings.Contains(csp, "default-src 'self'") || !strings.Contains(csp, "frame-ancestors 'none'") || strings.Contains(csp, "unsafe") {
			t.Errorf("%s: content security policy %q", tt.path, csp)
		}
	}
}

func TestPagesAreZippedAndAskedForOnce(t *testing.T) {
	s := newStack(t, built)
	r := httptest.NewRequest("GET", "/assets/a-1b2c3d.js", nil)
	r.Header.Set("Accept-Encoding", "br, gzip;q=0.8")
	rec := s.do(r)
	if rec.Header().Get("Content-Encoding") != "gzip" || rec.Body.Len() > 200 {
		t.Errorf("4000 zeros came as %d bytes, %q", rec.Body.Len(), rec.Header().Get("Content-Encoding"))
	}
	r.Header.Set("If-None-Match", rec.Header().Get("Etag"))
	if rec = s.do(r); rec.Code != http.StatusNotModified || rec.Body.Len() != 0 {
		t.Errorf("the second time: %d with %d bytes", rec.Code, rec.Body.Len())
	}
	r = httptest.NewRequest("GET", "/assets/a-1b2c3d.js", nil)
	r.Header.Set("Accept-Encoding", "gzip;q=0")
	if rec = s.do(r); rec.Header().Get("Content-Encoding") != "" || rec.Body.Len() != 4000 {
		t.Errorf("to one who refuses gzip: %q", rec.Header().Get("Content-Encoding"))
	}
}

func TestAnswersAreZippedWhenLarge(t *testing.T) {
	s := newStack(t, built)
	for path, want := range map[string]string{"/api/v1/openapi.json": "gzip", "/api/v1/places/nowhere": "", "/api/v1/places/bench-1/signals": "gzip"} {
		r := httptest.NewRequest("GET", path, nil)
		plain := s.do(r)
		r.Header.Set("Accept-Encoding", "gzip")
		rec := s.do(r)
		if got := rec.Header().Get("Content-Encoding"); got != want || rec.Code != plain.Code {
			t.Errorf("%s: %d, encoding %q; want %d, %q", path, rec.Code, got, plain.Code, want)
			continue
		}
		if want == "" {
			continue
		}
		z, err := gzip.NewReader(rec.Body)
		if err != nil {
			t.Fatal(err)
		}
		body, err := io.ReadAll(z)
		if err != nil || !json.Valid(body) {
			t.Errorf("%s: %d bytes that are no JSON (%v)", path, len(body), err)
		}
	}
}

func TestPagesThatWereNotBuiltSaySo(t *testing.T) {
	s := newStack(t, fstest.MapFS{".keep": {}})
	if rec := s.get("/"); rec.Code != 503 || !strings.Contains(rec.Body.String(), "Run <code>make</code>") {
		t.Errorf("%d %s", rec.Code, rec.Body)
	}
	if rec := s.get("/api/v1/places"); rec.Code != 200 {
		t.Errorf("the interface for programs: %d", rec.Code)
	}
}

func TestMethods(t *testing.T) {
	s := newStack(t, built)
	for path, want := range map[string]int{"/": 405, "/api/v1/places": 405, "/api/v1/nothing": 404, "/healthz": 405} {
		rec := s.do(httptest.NewRequest("POST", path, strings.NewReader("{}")))
		if rec.Code != want {
			t.Errorf("POST %s: %d, want %d", path, rec.Code, want)
		}
		if want == 405 && rec.Header().Get("Allow") == "" {
			t.Errorf("POST %s: no Allow", path)
		}
	}
	if rec := s.do(httptest.NewRequest("HEAD", "/api/v1/places", nil)); rec.Code != 200 {
		t.Errorf("HEAD: %d", rec.Code)
	}
}

func TestOtherOriginsMayNotWrite(t *testing.T) {
	s := newStack(t, built)
	r := httptest.NewRequest("POST", "/api/v1/places", strings.NewReader("{}"))
	r.Header.Set("Sec-Fetch-Site", "cross-site")
	if rec := s.do(r); rec.Code != http.StatusForbidden || rec.Header().Get("Content-Type") != "application/problem+json" {
		t.Errorf("%d %s", rec.Code, rec.Body)
	}
}

// serve runs the stack on a real loopback port.
func (s *stack) serve() (addr string) { return s.serveWith(nil) }

// serveWith is serve over TLS, where secure is not nil.
func (s *stack) serveWith(secure *tls.Config) (addr string) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		s.t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- Serve(ctx, l, secure, s.handler, slog.New(slog.DiscardHandler)) }()
	s.t.Cleanup(func() {
		stop()
		if err := <-ended; !errors.Is(err, context.Canceled) {
			s.t.Errorf("Serve ended with %v", err)
		}
	})
	return l.Addr().String()
}

func TestForeignNamesForLoopbackAreRefused(t *testing.T) {
	s := newStack(t, built)
	addr := s.serve()
	for host, want := range map[string]int{addr: 200, "localhost:8420": 200, "[::1]:8420": 200, "weald.localhost": 200, "rebound.example:8420": 421} {
		r, _ := http.NewRequest("GET", "http://"+addr+"/api/v1/places", nil)
		r.Host = host
		res, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		io.Copy(io.Discard, res.Body)
		res.Body.Close()
		if res.StatusCode != want {
			t.Errorf("host %q: %d, want %d", host, res.StatusCode, want)
		}
	}
}

func TestLiveConnectionThroughTheServer(t *testing.T) {
	s := newStack(t, built)
	addr := s.serve()
	dial := func(origin string) (*websocket.Conn, *http.Response, error) {
		d := websocket.Dialer{Subprotocols: []string{"weald.live.v1"}, HandshakeTimeout: 5 * time.Second}
		return d.Dial("ws://"+addr+"/live", http.Header{"Origin": {origin}})
	}
	if _, res, err := dial("http://elsewhere.example"); err == nil || res.StatusCode != http.StatusForbidden {
		t.Errorf("a page of another origin got %v", err)
	}
	conn, _, err := dial("http://" + addr)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if conn.Subprotocol() != "weald.live.v1" {
		t.Errorf("subprotocol %q", conn.Subprotocol())
	}
	if _, body, err := conn.ReadMessage(); err != nil || !strings.Contains(string(body), `"event":"hello"`) {
		t.Errorf("%s %v", body, err)
	}
}
