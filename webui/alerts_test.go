package webui

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"weald/stream/journal/journaltest"
	"weald/stream/view"
)

const (
	alertPath = "/api/v1/alerts/{alert}/"
	tight     = "/api/v1/alerts/bench-1~tight~ankle/"
)

// Every answer of the routes for alerts is as documented, and says what would be
// right.
func TestWhatPeopleDoWithAlertsIsAsDocumented(t *testing.T) {
	s := newRecordingStack(t, new(journaltest.Memory))
	c := newContract(t, s)
	s.feed()
	soon := time.Now().Add(time.Hour).UTC().Format(time.RFC3339)
	for _, r := range []struct {
		verb, ask, body string
		status          int
		says            string
	}{
		{"acknowledge", tight + "acknowledge", `{"code": "Pat Larch"}`, 422, "looks like a name"},
		{"acknowledge", tight + "acknowledge", `{}`, 422, ""},
		{"acknowledge", "/api/v1/alerts/bench-1~tight~nose/acknowledge", `{"code": "K-07"}`, 404, "no alert"},
		{"acknowledge", "/api/v1/alerts/tight/acknowledge", `{"code": "K-07"}`, 404, "no alert"},
		{"acknowledge", tight + "acknowledge", `{"code": "K-07"}`, 200, `"state":"acknowledged"`},
		{"acknowledge", tight + "acknowledge", `{"code": "K-08"}`, 409, "already, by K-07"},
		{"unshelve", tight + "unshelve", `{"code": "K-07"}`, 409, "not shelved"},
		{"shelve", tight + "shelve", `{"code": "K-07", "reason": "bath"}`, 422, "for how long"},
		{"shelve", tight + "shelve", `{"code": "K-07", "reason": " ", "for_s": 60}`, 422, "say why"},
		{"shelve", tight + "shelve", `{"code": "K-07", "for_s": 60}`, 422, "reason"},
		{"shelve", tight + "shelve", `{"code": "K-07", "reason": "bath", "for_s": 28801}`, 422, "28800"},
		{"shelve", tight + "shelve", `{"code": "K-07", "reason": "bath", "until": "2040-01-01T00:00:00Z"}`, 422, "8 hours"},
		{"shelve", tight + "shelve", `{"code": "K-07", "reason": "bath", "until": "` + soon + `"}`, 200, `"state":"shelved"`},
		{"shelve", tight + "shelve", `{"code": "K-07", "reason": "long bath", "for_s": 28800}`, 200, `"reason":"long bath"`},
		{"unshelve", tight + "unshelve", `{"code": "K-08", "reason": "dry"}`, 200, `"state":"acknowledged"`},
		{"out-of-service", tight + "out-of-service", `{"code": "K-07"}`, 422, "reason"},
		{"out-of-service", tight + "out-of-service", `{"code": "K-07", "reason": "cable"}`, 200, `"state":"out-of-service"`},
		{"shelve", tight + "shelve", `{"code": "K-07", "reason": "bath", "for_s": 60}`, 409, "out of service"},
		{"in-service", tight + "in-service", `{"code": "K-07"}`, 200, `"state":"acknowledged"`},
		{"in-service", tight + "in-service", `{"code": "K-07"}`, 409, "not out of service"},
	} {
		rec := s.post(r.ask, r.body)
		if rec.Code != r.status || !strings.Contains(rec.Body.String(), r.says) {
			t.Errorf("%s %s: %d, want %d and %q: %s", r.ask, r.body, rec.Code, r.status, r.says, rec.Body)
		}
		c.checkOf("post", alertPath+r.verb, rec)
	}
	for path, ask := range map[string]string{
		"/api/v1/alerts":         "/api/v1/alerts?state=acknowledged,shelved&place=bench-1",
		"/api/v1/alerts/changes": "/api/v1/alerts/changes?newest=3",
		"/api/v1/alerts/figures": "/api/v1/alerts/figures",
	} {
		rec := s.get(ask)
		if rec.Code != http.StatusOK {
			t.Errorf("%s: %d %s", ask, rec.Code, rec.Body)
		}
		c.check(path, rec)
	}
	if rec := s.get("/api/v1/alerts/figures?from=2026-01-02T00:00:00Z&to=2026-01-01T00:00:00Z"); rec.Code != http.StatusUnprocessableEntity {
		t.Errorf("a span that ends before it begins: %d", rec.Code)
	}
}

func TestAlertsByTheirState(t *testing.T) {
	s := newStack(t, built)
	s.feed()
	list := func(query string) (got []view.Alert) {
		var body struct{ Alerts []view.Alert }
		if err := json.Unmarshal(s.get("/api/v1/alerts"+query).Body.Bytes(), &body); err != nil {
			t.Fatal(err)
		}
		return body.Alerts
	}
	if got := list("?state=unacknowledged"); len(got) != 1 || got[0].Tier != 1 || got[0].By != "" {
		t.Errorf("raised: %+v", got)
	}
	if rec := s.post("/api/v1/alerts/bed-4~loaded~heels/shelve", `{"code": "K-07", "reason": "heels are off the mattress", "for_s": 600}`); rec.Code != 200 {
		t.Fatal(rec.Body)
	}
	got := list("?state=shelved")
	if len(got) != 1 || got[0].By != "K-07" || got[0].Reason != "heels are off the mattress" || got[0].Until == nil || got[0].RaisedAt != nil || got[0].Text != "heels is not raised" {
		t.Errorf("shelved and never raised: %+v", got)
	}
	if all := list(""); len(all) != 2 {
		t.Errorf("%d alerts, want two", len(all))
	}
	var place view.Place
	if err := json.Unmarshal(s.get("/api/v1/places/bed-4").Body.Bytes(), &place); err != nil {
		t.Fatal(err)
	}
	if place.State == view.StateAlert || len(place.Alerts) != 1 || !strings.HasSuffix(place.Text, "; 1 alert shelved") {
		t.Errorf("the bed is %s, %q, with %+v", place.State, place.Text, place.Alerts)
	}
	if metrics := s.get("/metrics").Body.String(); !strings.Contains(metrics, `weald_alerts{place="bed-4",priority="low",rule="loaded",state="shelved"} 1`) {
		t.Error("the metrics do not say that an alert is shelved")
	}
}

// A page of another origin cannot acknowledge anything.
func TestAlertsAreNotForOtherOrigins(t *testing.T) {
	s := newStack(t, built)
	s.feed()
	for _, header := range []string{"Origin", "Sec-Fetch-Site"} {
		r := httptest.NewRequest(http.MethodPost, tight+"acknowledge", strings.NewReader(`{"code": "K-07"}`))
		r.Header.Set("Content-Type", "application/json")
		r.Header.Set(header, map[string]string{"Origin": "http://elsewhere.invalid", "Sec-Fetch-Site": "cross-site"}[header])
		rec := s.do(r)
		if rec.Code != http.StatusForbidden || !strings.Contains(rec.Header().Get("Content-Type"), "problem+json") {
			t.Errorf("with %s: %d %s", header, rec.Code, rec.Body)
		}
	}
	if got := s.get("/api/v1/alerts?state=unacknowledged").Body.String(); !strings.Contains(got, "bench-1~tight~ankle") {
		t.Errorf("it was acknowledged: %s", got)
	}
}

// Where there is no record, changes and figures say what is missing; alerts can
// be acknowledged.
func TestAlertsWithoutARecord(t *testing.T) {
	s := newStack(t, built)
	s.feed()
	if rec := s.post(tight+"acknowledge", `{"code": "K-07"}`); rec.Code != http.StatusOK {
		t.Errorf("%d %s", rec.Code, rec.Body)
	}
	for _, path := range []string{"changes", "figures"} {
		if rec := s.get("/api/v1/alerts/" + path); rec.Code != http.StatusServiceUnavailable {
			t.Errorf("%s: %d %s", path, rec.Code, rec.Body)
		}
	}
}
