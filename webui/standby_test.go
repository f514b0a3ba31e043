package webui

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"
)

// A machine that stands by says so to people and to programs, is not ready, and shows
// names of machines as text, whatever they are.
func TestStandby(t *testing.T) {
	var by *Writer
	trouble := ""
	server := httptest.NewServer(Standby(StandbyOptions{
		Machine: "weald-b", Version: "test", Writer: func() *Writer { return by }, Trouble: func() string { return trouble },
	}))
	defer server.Close()
	ask := asker(t, server.URL)
	ask("GET", "/", 503, "weald-b stands by", "shows no patients and no alerts", "No machine does the work", "Look at the people", "not a medical device")
	by = &Writer{Machine: "<script>weald-a", Since: time.Date(2026, 3, 1, 22, 0, 0, 0, time.UTC)}
	ask("GET", "/places/bed-4", 503, "&lt;script&gt;weald-a does the work", "1 March 2026, 22:00:00 UTC", "where it stands")
	by.Pages = "javascript:alert(1)"
	ask("GET", "/", 503, `href="#ZgotmplZ"`)
	by.Machine, by.Pages = "weald-a", "https://weald-a.larch.example:8420"
	ask("GET", "/", 503, `href="https://weald-a.larch.example:8420"`)
	trouble = "the servers do not answer"
	ask("GET", "/", 503, "could not take over now: the servers do not answer")
	ask("GET", "/readyz", 503, `"ready":false`, "weald-a does the work; it could not take over now")
	ask("GET", "/healthz", 200, `"status":"alive"`)
	ask("GET", "/standby.css", 200, "color-scheme")
	for _, path := range []string{"/api/v1/places", "/metrics", "/live"} {
		ask("GET", path, 503, "application/problem+json", "this machine stands by")
	}
	ask("POST", "/", 503, "application/problem+json")
}

// A machine that only reads bridges says where the pages are not, and is ready for that.
func TestStandbyOfOneThatReads(t *testing.T) {
	trouble, by := "", &Writer{Machine: "weald-d", Pages: "https://weald-d.larch.example"}
	server := httptest.NewServer(Standby(StandbyOptions{
		Machine: "weald-c", Share: "larch", Reads: true, Version: "test", Trouble: func() string { return trouble },
		Writer: func() *Writer { return by },
	}))
	defer server.Close()
	get := asker(t, server.URL)
	ask := func(path string, status int, want string) {
		t.Helper()
		if said := get("GET", path, status, want); strings.Contains(said, "weald-d.larch") {
			t.Errorf("%s names pages that are none:\n%s", path, said)
		}
	}
	ask("/", 503, "weald-c reads bridges for larch")
	ask("/", 503, "weald-d reads the bridges, since")
	ask("/", 503, "on the machines that judge")
	ask("/readyz", 200, `"ready":true`)
	trouble = "the servers do not answer"
	ask("/readyz", 503, "it could not take over now: the servers do not answer")
	by.Machine = "weald-c"
	ask("/readyz", 503, "weald-c is the one that does; something is wrong with that: the servers do not answer")
	ask("/", 503, "Something is wrong with that: the servers do not answer")
}

// asker returns what asks a page that is no daemon's: its answer has a status, all of
// wants, and the headers of every such page. What it said is returned.
func asker(t *testing.T, url string) func(method, path string, status int, wants ...string) string {
	return func(method, path string, status int, wants ...string) string {
		t.Helper()
		r, err := http.NewRequest(method, url+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		w, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		defer w.Body.Close()
		var b strings.Builder
		if err := w.Write(&b); err != nil {
			t.Fatal(err)
		}
		if w.StatusCode != status {
			t.Errorf("%s %s: %d", method, path, w.StatusCode)
		}
		for _, want := range append(wants, "Content-Security-Policy: default-src 'self'", "Cache-Control: no-store") {
			if !strings.Contains(b.String(), want) {
				t.Errorf("%s %s has no %q:\n%s", method, path, want, b.String())
			}
		}
		return b.String()
	}
}
