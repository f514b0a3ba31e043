package webui

import (
	"context"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/relief"
	"weald/stream/journal/journaltest"
	"weald/stream/seatlink"
	"weald/webui/api"
)

// newSeatStack is a ward with two seats, the first with a rule that asks for a shift
// every half an hour, and a third place that is none.
func newSeatStack(t *testing.T, j *journaltest.Memory) *stack {
	d := relief.Default()
	seat := func(id string, source int) rules.Place {
		return rules.Place{ID: id, Kind: rules.Seat, Sites: []rules.Site{
			{ID: "left", Channels: []rules.Channel{{Source: source}}}, {ID: "right", Channels: []rules.Channel{{Source: source, Index: 1}}}}}
	}
	plan := &rules.Plan{
		Sources: []rules.Source{{ID: "chairs/one", Channels: 2, StaleAfter: time.Hour, Calibrated: true}, {ID: "chairs/two", Channels: 2, StaleAfter: time.Hour, Calibrated: true}},
		Places:  []rules.Place{seat("seat-1", 0), seat("seat-2", 1), {ID: "bench-1", Kind: rules.Wrap, Sites: []rules.Site{{ID: "ankle", Channels: []rules.Channel{{}}}}}},
		Rules: []rules.Rule{{ID: "shift", At: rules.Where{Place: "seat-1"}, ForgetAfter: time.Hour, Relief: &rules.Relief{
			Interval: 30 * time.Minute, Depth: [2]float64{d.ShiftDepth, d.ReliefDepth}, Lasting: d.Lasting, EmptyFor: d.EmptyFor, Counts: d.Counts}}},
	}
	s := newStackOf(t, built, plan, nil)
	links, err := seatlink.Read(t.Context(), j)
	if err != nil {
		t.Fatal(err)
	}
	mux := http.NewServeMux()
	api.Register(mux, api.Options{
		Plan: plan, Pipeline: s.pipe, Store: s.store, Record: j, Config: 7, Links: links, Zone: "Europe/Vienna",
		Bridges: func() []api.Bridge { return nil },
	})
	s.handler = mux
	return s
}

// sit feeds two seats readings of so many minutes, four a minute.
func (s *stack) sit(t *testing.T, from sample.Instant, minutes int) sample.Instant {
	t.Helper()
	at := from
	for range 4 * minutes {
		for source, level := range []float64{60, 40} {
			if err := s.pipe.PutAndWait(context.Background(), &sample.Scan{Source: source, At: at, Arrived: at, Values: []float64{level, level}}); err != nil {
				t.Fatal(err)
			}
		}
		at = at.Add(15 * time.Second)
	}
	return at
}

type madeLink struct {
	Link struct{ ID, Place string }
	URL  string
	QR   []string
}

func (s *stack) link(t *testing.T, place string) (madeLink, string) {
	t.Helper()
	rec := s.post("/api/v1/seat-links", `{"place": "`+place+`", "by": "N-4", "base": "https://weald.example/"}`)
	var m madeLink
	if err := json.Unmarshal(rec.Body.Bytes(), &m); err != nil || rec.Code != 201 {
		t.Fatalf("%d %s", rec.Code, rec.Body)
	}
	u, err := url.Parse(m.URL)
	if err != nil || u.Host != "weald.example" || u.Path != "/seat/" || len(u.Fragment) < 26 {
		t.Fatalf("the link is %s", m.URL)
	}
	return m, u.Fragment
}

// through asks with a key, from an address.
func (s *stack) through(path, key, from string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(http.MethodGet, path, nil)
	if key != "" {
		r.Header.Set("Authorization", "Bearer "+key)
	}
	r.RemoteAddr = from
	return s.do(r)
}

const here = "192.0.2.7:4000" // RFC 5737

// A link shows how its own seat fares, and what it shows is as documented; another
// shows another; withdrawn, it shows nothing, at once.
func TestALinkShowsItsOwnSeat(t *testing.T) {
	s := newSeatStack(t, new(journaltest.Memory))
	c := newContract(t, s)
	const mine, day = "/api/v1/my-seat", "/api/v1/my-seat/day"
	one, key := s.link(t, "seat-1")
	_, other := s.link(t, "seat-2")
	s.sit(t, s.clock.Now().Add(-10*time.Minute), 10)
	type now struct {
		Place, State, Zone string
		SinceS             *float64   `json:"since_s"`
		IntervalS          *float64   `json:"interval_s"`
		DueAt              *time.Time `json:"due_at"`
		At                 time.Time
	}
	ask := func(key string) (v now) {
		t.Helper()
		rec := s.through(mine, key, here)
		c.check(mine, rec)
		if err := json.Unmarshal(rec.Body.Bytes(), &v); err != nil || rec.Code != 200 {
			t.Fatalf("%d %s", rec.Code, rec.Body)
		}
		for _, elsewhere := range []string{"bench-1", map[string]string{key: "seat-2", other: "seat-1"}[key], "mmHg"} {
			if strings.Contains(rec.Body.String(), elsewhere) {
				t.Errorf("%q is told: %s", elsewhere, rec.Body)
			}
		}
		return v
	}
	v := ask(key)
	if v.Place != "seat-1" || v.State != "seated" || *v.SinceS < 500 || *v.SinceS > 600 || *v.IntervalS != 1800 || v.Zone != "Europe/Vienna" {
		t.Errorf("%+v", v)
	}
	if due := v.DueAt.Sub(v.At).Seconds() + *v.SinceS; due < 1799 || due > 1801 {
		t.Errorf("due %v s after somebody sat down", due)
	}
	if v := ask(other); v.Place != "seat-2" || v.IntervalS != nil || v.DueAt != nil || v.SinceS == nil {
		t.Errorf("the other: %+v", v)
	}
	rec := s.through(day, key, here)
	c.check(day, rec)
	if rec.Code != 200 || !strings.Contains(rec.Body.String(), `"last":[]`) {
		t.Errorf("%d %s", rec.Code, rec.Body)
	}
	withdraw := s.post("/api/v1/seat-links/"+one.Link.ID+"/withdraw", `{"by": "N-5"}`)
	c.checkOf("post", "/api/v1/seat-links/{link}/withdraw", withdraw)
	if withdraw.Code != 201 {
		t.Fatalf("%d %s", withdraw.Code, withdraw.Body)
	}
	for _, path := range []string{mine, day} {
		rec := s.through(path, key, here)
		c.check(path, rec)
		if rec.Code != 401 || strings.Contains(rec.Body.String(), "seat-1") {
			t.Errorf("%s, withdrawn: %d %s", path, rec.Code, rec.Body)
		}
	}
	if v := ask(other); v.Place != "seat-2" {
		t.Errorf("the other: %+v", v)
	}
}

// Silence is not said to be sitting.
func TestALinkSaysWhenNobodyKnows(t *testing.T) {
	s := newSeatStack(t, new(journaltest.Memory))
	_, key := s.link(t, "seat-1")
	rec := s.through("/api/v1/my-seat", key, here)
	if body := rec.Body.String(); rec.Code != 200 || !strings.Contains(body, `"state":"unknown"`) || !strings.Contains(body, `"since_s":null`) || !strings.Contains(body, `"heard":null`) {
		t.Errorf("%d %s", rec.Code, body)
	}
}

func TestLinksAreAsDocumented(t *testing.T) {
	j := new(journaltest.Memory)
	s := newSeatStack(t, j)
	c := newContract(t, s)
	const all = "/api/v1/seat-links"
	made, key := s.link(t, "seat-1")
	for _, r := range []struct {
		path, of, body string
		status         int
		says           string
	}{
		{all, all, `{"place": "seat-2", "by": "N-4", "base": "http://127.0.0.1:8420"}`, 201, `"url":"http://127.0.0.1:8420/seat/#`},
		{all, all, `{"place": "seat-1", "by": "Pat Larch", "base": "https://weald.example"}`, 422, "looks like a name"},
		{all, all, `{"place": "bench-1", "by": "N-4", "base": "https://weald.example"}`, 422, "is no seat"},
		{all, all, `{"place": "nowhere", "by": "N-4", "base": "https://weald.example"}`, 404, "no place"},
		{all, all, `{"place": "seat-1", "by": "N-4", "base": "javascript://x"}`, 422, "begin of an address"},
		{all, all, `{"place": "seat-1", "by": "N-4", "base": "https://weald.example/?a=b"}`, 422, "begin of an address"},
		{all + "/l-none/withdraw", all + "/{link}/withdraw", `{"by": "N-4"}`, 404, "no such link"},
		{all + "/" + made.Link.ID + "/withdraw", all + "/{link}/withdraw", `{"by": ""}`, 422, "no code"},
		{all + "/" + made.Link.ID + "/withdraw", all + "/{link}/withdraw", `{"by": "N-4", "why": "lost phone"}`, 201, `"withdrawn_by":"N-4"`},
		{all + "/" + made.Link.ID + "/withdraw", all + "/{link}/withdraw", `{"by": "N-4"}`, 409, "already"},
	} {
		rec := s.post(r.path, r.body)
		if rec.Code != r.status || !strings.Contains(rec.Body.String(), r.says) {
			t.Errorf("%s %s: %d, want %d with %q: %s", r.path, r.body, rec.Code, r.status, r.says, rec.Body)
		}
		c.checkOf("post", r.of, rec)
	}
	rec := s.get(all + "?place=seat-1")
	c.check(all, rec)
	if rec.Code != 200 || strings.Count(rec.Body.String(), `"id"`) != 1 || strings.Contains(rec.Body.String(), key) {
		t.Errorf("%d %s", rec.Code, rec.Body)
	}
	// The corners of ISO/IEC 18004: seven modules, dark but for a ring.
	for i, row := range []string{"1111111", "1000001", "1011101", "1011101", "1011101", "1000001", "1111111"} {
		n := len(made.QR)
		if !strings.HasPrefix(made.QR[i], row+"0") || !strings.HasSuffix(made.QR[i], "0"+row) || !strings.HasPrefix(made.QR[n-7+i], row+"0") {
			t.Errorf("row %d of the code: %s … %s", i, made.QR[i], made.QR[n-7+i])
		}
	}
}

// Who tries keys is refused after a few, from where that is alone, and before
// anybody looks at the key.
func TestKeysCannotBeTried(t *testing.T) {
	s := newSeatStack(t, new(journaltest.Memory))
	_, key := s.link(t, "seat-1")
	c := newContract(t, s)
	refused := 0
	for range 15 {
		rec := s.through("/api/v1/my-seat", "AAAABBBBCCCCDDDDEEEEFFFFGG", here)
		c.check("/api/v1/my-seat", rec)
		switch rec.Code {
		case 401:
			if rec.Header().Get("WWW-Authenticate") != "Bearer" {
				t.Errorf("%v", rec.Header())
			}
		case 429:
			if refused++; rec.Header().Get("Retry-After") == "" {
				t.Errorf("%v", rec.Header())
			}
		default:
			t.Fatalf("%d %s", rec.Code, rec.Body)
		}
	}
	if refused != 5 {
		t.Errorf("%d of 15 were refused unseen, want 5", refused)
	}
	if rec := s.through("/api/v1/my-seat", key, here); rec.Code != 429 {
		t.Errorf("a right key in between: %d", rec.Code)
	}
	if rec := s.through("/api/v1/my-seat", key, "192.0.2.8:4000"); rec.Code != 200 {
		t.Errorf("from elsewhere: %d %s", rec.Code, rec.Body)
	}
	if rec := s.through("/api/v1/my-seat", "", "192.0.2.9:1"); rec.Code != 401 {
		t.Errorf("without a key: %d", rec.Code)
	}
}

func TestNothingIsLinkedWithoutARecord(t *testing.T) {
	s := newStack(t, built)
	for _, rec := range []*httptest.ResponseRecorder{
		s.get("/api/v1/seat-links"), s.get("/api/v1/my-seat"), s.get("/api/v1/my-seat/day"),
		s.post("/api/v1/seat-links", `{"place": "seat-1", "by": "N-4", "base": "https://weald.example"}`), s.post("/api/v1/seat-links/l-1/withdraw", `{"by": "N-4"}`),
	} {
		if rec.Code != 503 || !strings.Contains(rec.Body.String(), "names no folder") || rec.Header().Get("Content-Type") != "application/problem+json" {
			t.Errorf("%d %s", rec.Code, rec.Body)
		}
	}
}

// The page of who sits is its own, in a folder of its own, and tells nobody where it
// was opened.
func TestThePageOfASeat(t *testing.T) {
	s := newStack(t, built)
	for _, path := range []string{"/seat/", "/seat"} {
		rec := s.get(path)
		h := rec.Header()
		if rec.Code != 200 || !strings.Contains(rec.Body.String(), "My seat") || h.Get("Referrer-Policy") != "no-referrer" || h.Get("Cross-Origin-Opener-Policy") != "same-origin" {
			t.Errorf("%s: %d %v %s", path, rec.Code, h, rec.Body)
		}
	}
	if rec := s.get("/seat.webmanifest"); rec.Code != 200 || rec.Header().Get("Content-Type") != "application/manifest+json" {
		t.Errorf("%d %v", rec.Code, rec.Header())
	}
	if rec := s.get("/seats"); !strings.Contains(rec.Body.String(), "<title>weald") {
		t.Errorf("another path: %s", rec.Body)
	}
}
