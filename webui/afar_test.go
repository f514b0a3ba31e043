package webui

import (
	"net/http/httptest"
	"testing"
	"time"

	"weald/stream/afar"
	"weald/stream/view"
)

// The page of a ward at a centre says whether the ward is seen before it says anything of
// it, tells what came late, and shows names as text; it changes nothing.
func TestAfar(t *testing.T) {
	at := time.Date(2026, 3, 1, 22, 0, 0, 0, time.UTC)
	look, trouble := afar.Look{Alerts: []afar.Alert{}}, "the servers do not answer"
	server := httptest.NewServer(Afar(AfarOptions{Ward: "larch", Version: "test", Look: func() afar.Look { return look }, Trouble: func() string { return trouble }}))
	defer server.Close()
	ask := asker(t, server.URL)
	ask("GET", "/", 200, "larch from afar", "Nothing is known of this ward: the servers do not answer", "not a medical device")
	ask("GET", "/readyz", 503, `"reasons":["the servers do not answer"]`, `"seen_at":null`)
	trouble = ""
	ask("GET", "/", 200, "has not been seen yet")
	look.Seen = at
	ask("GET", "/", 200, "Not seen since 1 March 2026, 22:00:00 UTC.", "alerts may have come and gone")
	ask("GET", "/readyz", 503, "the ward is not seen", `"seen_at":"2026-03-01T22:00:00Z"`)
	look.Reached = true
	look.Alerts = []afar.Alert{{Alert: view.Alert{Place: "<b>bed-4", Text: "turn is due", State: "unacknowledged", Priority: "low", RaisedAt: &at}, ReachedAt: &at}}
	ask("GET", "/", 200, "This ward is seen", "&lt;b&gt;bed-4", "turn is due", "unacknowledged, low priority; raised 1 March 2026, 22:00:00 UTC", "Late: it became known here on 1 March 2026")
	ask("GET", "/api/v1/alerts", 200, `"reached":true`, `"reached_at":"2026-03-01T22:00:00Z"`, `"place":"\u003cb\u003ebed-4"`)
	ask("GET", "/readyz", 200, `"ready":true`)
	ask("GET", "/healthz", 200)
	ask("GET", "/api/v1/places", 404, "on the ward's own pages")
	ask("POST", "/api/v1/alerts", 405, "does it on the ward's own pages")
}
