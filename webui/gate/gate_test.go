package gate

import (
	"context"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"weald/ingest/sample"
	"weald/stream/access"
	"weald/stream/journal/journaltest"
	"weald/webui/route"
)

func guarded(t testing.TB, now func() sample.Instant) *Gate {
	t.Helper()
	a, err := access.Read(context.Background(), new(journaltest.Memory), access.DefaultLimits, now())
	if err != nil {
		t.Fatal(err)
	}
	return &Gate{Access: a, Now: now}
}

// A live connection ends when what has opened the door opens it no more, within two
// seconds.
func TestALiveConnectionDoesNotOutlastItsSession(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g := guarded(t, func() sample.Instant { return sample.At(time.Now()) })
		d := access.Deed{By: "console", Now: g.Now()}
		p, key, err := g.Access.MakePass(t.Context(), d, access.Pass{Means: access.Token, Name: "viewer", Role: access.Viewer, Ends: d.Now.Add(time.Hour)})
		if err != nil {
			t.Fatal(err)
		}
		watch := func(key string) (lasted time.Duration) {
			began := time.Now()
			h := g.For(route.Of("live"), http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) { <-r.Context().Done() }))
			r := httptest.NewRequest("GET", "/live", nil)
			r.Header.Set("Authorization", "Bearer "+key)
			h.ServeHTTP(httptest.NewRecorder(), r)
			return time.Since(began)
		}
		go func() {
			time.Sleep(7*time.Minute + time.Second)
			if _, err := g.Access.WithdrawPass(t.Context(), d, p.ID); err != nil {
				t.Error(err)
			}
		}()
		if lasted := watch(key); lasted != 7*time.Minute+2*time.Second {
			t.Errorf("withdrawn after 7 min 1 s, and lasted for %v", lasted)
		}
		_, key, err = g.Access.MakePass(t.Context(), d, access.Pass{Means: access.Token, Name: "other", Role: access.Viewer, Ends: g.Now().Add(time.Hour)})
		if err != nil {
			t.Fatal(err)
		}
		if lasted := watch(key); lasted != time.Hour {
			t.Errorf("a token for an hour lasted for %v", lasted)
		}
		if lasted := watch("none"); lasted != 0 {
			t.Errorf("no token at all lasted for %v", lasted)
		}
	})
}

func TestASubjectIsShortText(t *testing.T) {
	of := route.Of("signals")
	r := httptest.NewRequest("GET", "/api/v1/places/bed%204/signals?name=a&name=b%26c&from=%0a&x="+strings.Repeat("%C3%A4", 400), nil)
	r.SetPathValue("place", "bed 4")
	got := subject(of, r, "")
	if !strings.HasPrefix(got, "place=bed 4 from=\n name=a name=b&c x=ää") || len(got) > mostSubject || !strings.HasSuffix(got, "ä…") {
		t.Errorf("%d bytes: %q", len(got), got)
	}
}

// Whatever a request brings, it is nobody's unless it has a key.
func FuzzVisit(f *testing.F) {
	g := guarded(f, func() sample.Instant { return 1 })
	f.Add("weald=a; weald=b", "Bearer x", "192.0.2.7:1", "198.51.100.1", "https")
	f.Add(`__Host-weald="; weald-screen=`, "bearer", "@", ", ,", "HTTPS")
	f.Fuzz(func(t *testing.T, cookies, authorization, remote, forwarded, proto string) {
		r := httptest.NewRequest("POST", "/", nil)
		r.RemoteAddr = remote
		r.Header = http.Header{"Cookie": {cookies}, "Authorization": {authorization}, "X-Forwarded-For": {forwarded}, "X-Forwarded-Proto": {proto}}
		v := g.visit(r)
		if v.Who.Role != access.Nobody {
			t.Errorf("let in as %+v", v.Who)
		}
		if v.From.Zone() != "" || v.From.Is4In6() {
			t.Errorf("from %v", v.From)
		}
		if _, err := netip.ParseAddrPort(remote); err != nil && v.Secure != strings.EqualFold(proto, "https") {
			t.Errorf("secure: %t", v.Secure)
		}
	})
}
