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
	look, trouble := afar.Look{Alerts: []afar.Alert{}, Places: []afar.Place{}}, "the servers do not answer"
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
	look.Reached, look.Behind = true, 7
	ask("GET", "/", 200, "Not all has come that this ward wrote.", "how it was at 1 March 2026, 22:00:00 UTC")
	ask("GET", "/readyz", 503, "not all has come that the ward wrote")
	ask("GET", "/api/v1/alerts", 200, `"reached":true`, `"whole":false`, `"behind":7`)
	look.Unkept = &afar.Unkept{Since: at, Why: "the disk takes nothing"}
	ask("GET", "/", 200, "This ward keeps nothing since 1 March 2026, 22:00:00 UTC: the disk takes nothing.", "others may have come and gone")
	ask("GET", "/readyz", 503, "the ward keeps nothing: the disk takes nothing")
	look.Unkept, look.Whole, look.Behind = nil, true, 0
	trouble = "no room for the record"
	ask("GET", "/", 200, "Nothing is known of this ward since 1 March 2026, 22:00:00 UTC: no room for the record.", "how it was then")
	ask("GET", "/readyz", 503, `"reasons":["no room for the record"]`)
	ask("GET", "/api/v1/alerts", 200, `"whole":false`)
	trouble = ""
	look.Alerts = []afar.Alert{{Alert: view.Alert{Place: "<b>bed-4", Text: "turn is due", State: "unacknowledged", Priority: "low", RaisedAt: &at}, ReachedAt: &at}}
	ask("GET", "/", 200, "This ward is seen", "&lt;b&gt;bed-4", "turn is due", "unacknowledged, low priority; raised 1 March 2026, 22:00:00 UTC", "Late: it became known here on 1 March 2026")
	ask("GET", "/api/v1/alerts", 200, `"reached":true`, `"reached_at":"2026-03-01T22:00:00Z"`, `"place":"\u003cb\u003ebed-4"`)
	ask("GET", "/readyz", 200, `"ready":true`)
	ask("GET", "/healthz", 200)
	ask("GET", "/api/v1/history", 404, "on the ward's own pages")
	ask("GET", "/", 200, "No readings are known")
	ask("GET", "/api/v1/places", 200, `"places":[]`)
	value := 41.26
	look.Places = []afar.Place{{HeardAt: at, Place: view.Place{ID: "<i>bed-5", Text: "peak & mean", Signals: map[string]view.Signal{"peak": {Value: &value, Unit: "mmHg"}, "<u>mean": {Unit: "mmHg"}}}}}
	ask("GET", "/", 200, "&lt;i&gt;bed-5", "peak &amp; mean", "peak 41.3 mmHg", "&lt;u&gt;mean not known", "heard 1 March 2026, 22:00:00 UTC")
	ask("GET", "/api/v1/places", 200, `"value":41.26`, `"heard_at":"2026-03-01T22:00:00Z"`)
	ask("POST", "/api/v1/alerts", 405, "does it on the ward's own pages")
}
