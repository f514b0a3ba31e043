package webui

import (
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"
)

// The page that lists shares leads to each where it is, says of none that all is well,
// and shows names as text; programs learn the same.
func TestShares(t *testing.T) {
	var larch, rowan *Writer
	trouble := ""
	server := httptest.NewServer(Shares(SharesOptions{Machine: "weald-a", Version: "test", Shares: []Share{
		{ID: "larch", Places: []string{"bed-1", "bed-2"}, Port: "8421", Writer: func() *Writer { return larch }, Trouble: func() string { return "" }},
		{ID: "rowan", Places: []string{"seat-1"}, Port: "8422", Writer: func() *Writer { return rowan }, Trouble: func() string { return trouble }},
	}}))
	defer server.Close()
	ask := func(path string, status int, wants ...string) {
		t.Helper()
		w, err := http.Get(server.URL + path)
		if err != nil {
			t.Fatal(err)
		}
		defer w.Body.Close()
		b, err := io.ReadAll(w.Body)
		if err != nil {
			t.Fatal(err)
		}
		if w.StatusCode != status {
			t.Errorf("%s: %d", path, w.StatusCode)
		}
		for _, want := range wants {
			if !strings.Contains(string(b), want) {
				t.Errorf("%s has no %q:\n%s", path, want, b)
			}
		}
	}
	ask("/", 200, "shows no patients and no alerts", "bed-1, bed-2", "No machine does the work", "Look at the people", "not a medical device")
	ask("/readyz", 503, `"ready":false`, "share larch: no machine does its work")
	at := time.Date(2026, 3, 1, 22, 0, 0, 0, time.UTC)
	larch, rowan = &Writer{Machine: "weald-a", Since: at}, &Writer{Machine: "<b>weald-b", Since: at}
	ask("/", 200, `href="http://127.0.0.1:8421">Go to the pages of larch`, "&lt;b&gt;weald-b does the work, since 1 March 2026, 22:00:00 UTC. Ask for its pages where it stands.")
	rowan.Pages = "https://weald-b.larch.example:8422"
	ask("/", 200, `href="https://weald-b.larch.example:8422">Go to the pages of rowan`)
	ask("/readyz", 200, `"ready":true`, `"share":"larch","places":["bed-1","bed-2"],"machine":"weald-a"`)
	trouble = "the servers do not answer"
	ask("/", 200, "weald-a could not take over now: the servers do not answer")
	ask("/readyz", 503, "share rowan: this machine could not take over now: the servers do not answer")
	ask("/healthz", 200, `"status":"alive"`)
	ask("/standby.css", 200, "color-scheme")
	ask("/api/v1/places", 404, "each share has pages of its own")
}
