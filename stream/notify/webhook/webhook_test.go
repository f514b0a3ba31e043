package webhook

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"log"
	"net"
	"net/http"
	"net/http/httptest"
	"os/exec"
	"strings"
	"testing"
	"time"

	"weald/ingest/tcp/wire"
	"weald/ingest/tcp/wire/wiretest"
	"weald/stream/notify"
	"weald/stream/notify/notifytest"
	"weald/stream/notify/secret"
)

const planted = "p1anted-secret-of-a-hook"

// What an honest receiver gets can be verified by programs that nobody of this
// project wrote: openssl, and the receiver of webui/src/notes/ward.md, in Python.
func TestSignatureIsVerifiedByOthers(t *testing.T) {
	var header http.Header
	var body []byte
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		header = r.Header.Clone()
		body, _ = io.ReadAll(r.Body)
	}))
	defer srv.Close()
	h := &Hook{URL: srv.URL + "/weald?token=x", Secret: notifytest.Secret(t, planted)}
	s := notifytest.Call()
	if err := h.Send(t.Context(), s); err != nil {
		t.Fatal(err)
	}
	if header.Get("Idempotency-Key") != s.Key || header.Get("Weald-Timestamp") != "1772366401" {
		t.Errorf("%v", header)
	}
	var b notify.Body
	if err := json.Unmarshal(body, &b); err != nil || b.Key != s.Key || b.Alert.Place != "bed-4" || b.Alert.U != nil || *b.Alert.Value != 62.5 || b.Caution == "" || b.Late {
		t.Errorf("%v: %s", err, body)
	}
	signed := append([]byte("1772366401."), body...)
	verify := func(program string, args ...string) {
		path, err := exec.LookPath(program)
		if err != nil {
			t.Logf("%s is not here, and is not asked", program)
			return
		}
		cmd := exec.CommandContext(t.Context(), path, args...)
		cmd.Stdin = bytes.NewReader(signed)
		out, err := cmd.CombinedOutput()
		if err != nil || !strings.Contains(string(out), strings.TrimPrefix(header.Get("Weald-Signature"), "v1=")) {
			t.Errorf("%s: %v: %s, not %s", program, err, out, header.Get("Weald-Signature"))
		}
	}
	verify("openssl", "dgst", "-sha256", "-hmac", planted)
	verify("python3", "-c", `import hashlib,hmac,sys; print(hmac.new(b"`+planted+`", sys.stdin.buffer.read(), hashlib.sha256).hexdigest())`)
}

// The wanted value is what `printf '1.{}' | openssl dgst -sha256 -hmac Jefe` prints.
func TestSign(t *testing.T) {
	if got, want := Sign("Jefe", 1, []byte("{}")), "v1=dc7943cccf20f64327d263db5e2aca27c2b8175e8e6e7ea04f482091bf456b0f"; got != want {
		t.Errorf("%s, want %s", got, want)
	}
}

// A receiver can fail in every way: no failure counts as a delivery, each is said in
// plain words, and none repeats the secret or the rest of the address.
func TestReceiversThatFail(t *testing.T) {
	answers := func(code int, header ...string) func(http.ResponseWriter, *http.Request) {
		return func(w http.ResponseWriter, r *http.Request) {
			for i := 0; i+1 < len(header); i += 2 {
				w.Header().Set(header[i], header[i+1])
			}
			w.WriteHeader(code)
			io.WriteString(w, r.Header.Get("Weald-Signature")) // an echo
		}
	}
	raw := func(answer string) func(net.Conn) {
		return func(c net.Conn) {
			buf := make([]byte, 4096)
			c.Read(buf)
			io.WriteString(c, answer)
			c.Close()
		}
	}
	followed := false
	elsewhere := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { followed = true }))
	defer elsewhere.Close()
	ca, other := wiretest.NewCA(t), wiretest.NewCA(t)
	secured := func(name string, begins, ends time.Duration) string {
		certificate, key := ca.Issue(name, begins, ends)
		conf, err := (&wire.ServerTLS{Certificate: certificate, Key: key}).Config(nil)
		if err != nil {
			t.Fatal(err)
		}
		srv := httptest.NewUnstartedServer(http.HandlerFunc(answers(200)))
		srv.TLS = conf
		srv.Config.ErrorLog = quiet
		srv.StartTLS()
		t.Cleanup(srv.Close)
		return srv.URL
	}
	served := func(f func(http.ResponseWriter, *http.Request)) string {
		srv := httptest.NewServer(http.HandlerFunc(f))
		t.Cleanup(srv.Close)
		return srv.URL
	}
	done := make(chan struct{})
	defer close(done)
	for _, c := range []struct {
		name, url, says string
		given           bool // the message is given up
		ca              string
	}{
		{name: "refuses", url: "http://" + wiretest.Vacant(t), says: "refuses connections"},
		{name: "hangs", url: "http://" + notifytest.Serve(t, func(net.Conn) { <-done }), says: "has not answered in time"},
		{name: "hangs in TLS", url: "https://" + notifytest.Serve(t, func(net.Conn) { <-done }), says: "has not answered in time"},
		{name: "slow", url: "http://" + notifytest.Serve(t, func(c net.Conn) {
			for {
				if _, err := c.Write([]byte("H")); err != nil {
					return
				}
				select {
				case <-done:
					return
				case <-time.After(50 * time.Millisecond):
				}
			}
		}), says: "n"},
		{name: "slow body", url: served(func(w http.ResponseWriter, r *http.Request) {
			w.WriteHeader(200)
			w.(http.Flusher).Flush()
			select {
			case <-done:
			case <-r.Context().Done():
			}
		}), says: "has not answered in time"},
		{name: "hangs up", url: "http://" + notifytest.Serve(t, func(c net.Conn) { c.Close() }), says: "127.0.0.1"},
		{name: "half an answer", url: "http://" + notifytest.Serve(t, raw("HTTP/1.1 200 OK\r\nContent-Length: 100\r\n\r\nhalf")), says: "ended the connection before"},
		{name: "half a header", url: "http://" + notifytest.Serve(t, raw("HTTP/1.1 200")), says: "ended the connection before"},
		{name: "no HTTP", url: "http://" + notifytest.Serve(t, raw("220 mail.larch ESMTP\r\n\r\n")), says: "is not HTTP"},
		{name: "500", url: served(answers(500)), says: "500 Internal Server Error"},
		{name: "503", url: served(answers(503)), says: "503"},
		{name: "429", url: served(answers(429)), says: "429"},
		{name: "401", url: served(answers(401)), says: "401"},
		{name: "404", url: served(answers(404)), says: "404"},
		{name: "422", url: served(answers(422)), says: "will never take it: 422", given: true},
		{name: "410", url: served(answers(410)), says: "will never take it: 410", given: true},
		{name: "redirect", url: served(answers(307, "Location", elsewhere.URL)), says: "redirects (307)"},
		{name: "redirect for good", url: served(answers(301, "Location", elsewhere.URL)), says: "redirects (301)"},
		{name: "unknown CA", url: secured("127.0.0.1", -time.Minute, time.Hour), says: "signed by nobody who is trusted", ca: other.File},
		{name: "another name", url: secured("desk.larch", -time.Minute, time.Hour), says: "is not for", ca: ca.File},
		{name: "expired", url: secured("127.0.0.1", -2*time.Hour, -time.Hour), says: "not valid at this time", ca: ca.File},
		{name: "no TLS", url: strings.Replace(served(answers(200)), "http:", "https:", 1), says: "does not speak TLS"},
		{name: "drops TLS", url: "https://" + notifytest.Serve(t, func(c net.Conn) { c.Read(make([]byte, 16)); c.Close() }), says: "127.0.0.1"},
	} {
		t.Run(c.name, func(t *testing.T) {
			h := &Hook{Address: notifytest.Secret(t, c.url+"/hook?token=t0ken"), Secret: notifytest.Secret(t, planted), TLS: &wire.ClientTLS{CA: c.ca}, Patience: 300 * time.Millisecond}
			if !strings.HasSuffix(c.name, "TLS") && !strings.Contains(c.says, "time") && c.name != "slow" {
				h.Patience = 10 * time.Second
			}
			err := h.Send(t.Context(), notifytest.Call())
			if err == nil || !strings.Contains(err.Error(), c.says) {
				t.Fatalf("%v", err)
			}
			if _, given := errors.AsType[*notify.Refusal](err); given != c.given {
				t.Errorf("given up: %v, %v", given, err)
			}
			for _, hidden := range []string{planted, "t0ken", "/hook", "v1="} {
				if strings.Contains(err.Error(), hidden) || strings.Contains(h.Reaches(), hidden) {
					t.Errorf("%v says %s", err, hidden)
				}
			}
		})
	}
	if followed {
		t.Error("a redirect was followed")
	}
	h := &Hook{URL: secured("127.0.0.1", -time.Minute, time.Hour), Secret: notifytest.Secret(t, planted), TLS: &wire.ClientTLS{CA: ca.File}}
	if err := h.Send(t.Context(), notifytest.Call()); err != nil {
		t.Errorf("over TLS: %v", err)
	}
}

// A secret that cannot be had is said by where it should be.
func TestNoSecret(t *testing.T) {
	for _, s := range []secret.Source{{File: "/nowhere/desk.secret"}, {Env: "WEALD_NO_SUCH"}, notifytest.Secret(t, "")} {
		h := &Hook{URL: "http://" + wiretest.Vacant(t), Secret: s}
		if err := h.Send(t.Context(), notifytest.Call()); err == nil || !strings.Contains(err.Error(), s.File+s.Env) {
			t.Errorf("%v", err)
		}
	}
	t.Setenv("WEALD_HOOK", planted)
	if got, err := (secret.Source{Env: "WEALD_HOOK"}).Read(); got != planted || err != nil {
		t.Errorf("%q, %v", got, err)
	}
}

// quiet takes what a server says of clients that turn away.
var quiet = log.New(io.Discard, "", 0)
