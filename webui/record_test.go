package webui

import (
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	calibration "weald/ingest/calib/record"
	"weald/ingest/sample"
	"weald/stream/calibrating"
	"weald/stream/history"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
	"weald/webui/api"
)

// newRecordingStack is a stack that keeps what people note.
func newRecordingStack(t testing.TB, j journal.Log) *stack { return newShortenedStack(t, j, nil) }

// newShortenedStack is one whose record tells what it reaches back to.
func newShortenedStack(t testing.TB, j journal.Log, kept func() api.Kept) *stack {
	s := newStack(t, built)
	plan := wardPlan()
	mux := http.NewServeMux()
	api.Register(mux, api.Options{
		Plan: plan, Pipeline: s.pipe, Store: history.New(len(plan.Places), s.pipe.Series), Record: j, Config: 7,
		Calibrating: calibrating.New(s.pipe.Raw, s.clock.Now, nil),
		Bridges:     func() []api.Bridge { return nil }, Kept: kept,
	})
	s.handler = mux
	return s
}

func (s *stack) post(path, body string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(http.MethodPost, path, strings.NewReader(body))
	r.Header.Set("Content-Type", "application/json")
	return s.do(r)
}

func TestMarksAndSessionsAreAsDocumented(t *testing.T) {
	s := newRecordingStack(t, new(journaltest.Memory))
	c := newContract(t, s)
	const marks, sessions = "/api/v1/places/{place}/marks", "/api/v1/sessions"
	later := time.Now().Add(time.Hour).UTC().Format(time.RFC3339)
	earlier := time.Now().Add(-time.Hour).UTC().Format(time.RFC3339)
	for _, r := range []struct {
		method, path, ask, body string
		status                  int
	}{
		{"post", marks, "/api/v1/places/bed-4/marks", `{"what": "turned", "text": "to the left", "author": "N-2"}`, 201},
		{"post", marks, "/api/v1/places/bed-4/marks", `{"what": "turned", "at": "` + earlier + `"}`, 201},
		{"post", marks, "/api/v1/places/bed-4/marks", `{"what": "turned", "at": "` + later + `"}`, 422},
		{"post", marks, "/api/v1/places/bench-1/marks", `{"what": "lying", "at": "` + earlier + `"}`, 201}, // of what is past: a note
		{"post", marks, "/api/v1/places/bench-1/marks", `{"what": "lying"}`, 503},                          // an input, which nothing keeps here
		{"post", marks, "/api/v1/places/bed-4/marks", `{"what": ""}`, 422},
		{"post", marks, "/api/v1/places/bed-4/marks", `{"what": "turned", "why": "ought to"}`, 422},
		{"post", marks, "/api/v1/places/nowhere/marks", `{"what": "turned"}`, 404},
		{"get", marks, "/api/v1/places/bed-4/marks", "", 200},
		{"get", marks, "/api/v1/places/bed-4/marks?newest=1&from=" + url.QueryEscape(earlier), "", 200},
		{"get", marks, "/api/v1/places/bed-4/marks?to=9999-01-01T00:00:00Z", "", 422},
		{"get", marks, "/api/v1/places/nowhere/marks", "", 404},
		{"post", sessions, sessions, `{"place": "bench-1", "code": "K-07", "notes": "first try", "author": "T-1"}`, 201},
		{"post", sessions, sessions, `{"place": "bench-1", "code": "K-08"}`, 409},
		{"post", sessions, sessions, `{"place": "nowhere", "code": "K-07"}`, 404},
		{"post", sessions, sessions, `{"place": "bed-4", "code": "Pat Larch"}`, 422},
		{"get", sessions, sessions, "", 200},
		{"get", sessions, sessions + "?place=bench-1&code=K-07&lasts=true", "", 200},
		{"get", sessions + "/{session}", sessions + "/s-none", "", 404},
		{"post", sessions + "/{session}/end", sessions + "/s-none/end", `{}`, 404},
		{"post", sessions + "/{session}/notes", sessions + "/s-none/notes", `{"notes": "x"}`, 404},
	} {
		rec := s.do(func() *http.Request {
			q := httptest.NewRequest(strings.ToUpper(r.method), r.ask, strings.NewReader(r.body))
			q.Header.Set("Content-Type", "application/json")
			return q
		}())
		if rec.Code != r.status {
			t.Errorf("%s %s %s: %d, want %d: %s", r.method, r.ask, r.body, rec.Code, r.status, rec.Body)
		}
		c.checkOf(r.method, r.path, rec)
	}
}

type sessionView struct {
	ID, Place, Code string
	Config          uint64
	EndedAt         *time.Time `json:"ended_at"`
	Notes           []struct{ Text string }
}

// Readings go before sessions do. A session says what is left of its own.
func TestSessionsSayWhatIsLeftOfTheirReadings(t *testing.T) {
	day := func(n int) time.Time { return time.Date(2026, 3, n, 8, 0, 0, 0, time.UTC) }
	j := new(journaltest.Memory)
	for id, days := range map[string][]int{"s-old": {1, 2}, "s-across": {2, 4}, "s-lasting": {2}, "s-new": {4, 5}} {
		for i, n := range days {
			e := record.Entry{At: sample.At(day(n)), Written: sample.At(day(n)), Place: "bench-1",
				Body: record.Session{ID: id, What: []string{"begun", "ended"}[i], Code: "K-07", Config: 7}}
			if _, err := j.Append(t.Context(), e); err != nil {
				t.Fatal(err)
			}
		}
	}
	for _, c := range []struct {
		kept api.Kept
		want map[string]string
	}{
		{api.Kept{Since: day(3), Until: day(6), Deleted: true}, map[string]string{"s-old": "gone", "s-across": "partly", "s-lasting": "partly", "s-new": "kept"}},
		{api.Kept{Since: day(3), Until: day(6)}, map[string]string{"s-old": "kept", "s-across": "kept", "s-lasting": "kept", "s-new": "kept"}},
	} {
		s := newShortenedStack(t, j, func() api.Kept { return c.kept })
		all := decoded[struct {
			Sessions []struct{ ID, Readings string }
		}](s, "/api/v1/sessions")
		got := map[string]string{}
		for _, one := range all.Sessions {
			got[one.ID] = one.Readings
		}
		if !maps.Equal(got, c.want) {
			t.Errorf("deleted %v: %v, want %v", c.kept.Deleted, got, c.want)
		}
	}
}

func TestLifeOfASession(t *testing.T) {
	j := new(journaltest.Memory)
	s := newRecordingStack(t, j)
	parse := func(rec *httptest.ResponseRecorder, status int) (v sessionView) {
		t.Helper()
		if rec.Code != status {
			t.Fatalf("%d, want %d: %s", rec.Code, status, rec.Body)
		}
		if err := json.Unmarshal(rec.Body.Bytes(), &v); err != nil && status < 300 {
			t.Fatal(err)
		}
		return v
	}
	first := parse(s.post("/api/v1/sessions", `{"place": "bench-1", "code": "K-07"}`), 201)
	path := "/api/v1/sessions/" + first.ID
	parse(s.post(path+"/notes", `{"notes": " "}`), 422)
	parse(s.post(path+"/notes", `{"notes": "stood up twice"}`), 201)
	parse(s.post(path+"/end", `{"at": "2001-01-01T00:00:00Z"}`), 422)
	ended := parse(s.post(path+"/end", `{"notes": "done"}`), 201)
	if ended.EndedAt == nil || ended.Code != "K-07" || ended.Config != 7 || len(ended.Notes) != 2 || ended.Notes[1].Text != "done" {
		t.Errorf("%+v", ended)
	}
	parse(s.post(path+"/end", `{}`), 409)
	parse(s.post("/api/v1/sessions", `{"place": "bench-1", "code": "K-08"}`), 201)
	all := decoded[struct{ Sessions []sessionView }](s, "/api/v1/sessions?place=bench-1")
	if len(all.Sessions) != 2 || all.Sessions[0].ID != first.ID {
		t.Errorf("%+v", all)
	}
	if running := decoded[struct{ Sessions []sessionView }](s, "/api/v1/sessions?lasts=true"); len(running.Sessions) != 1 || running.Sessions[0].Code != "K-08" {
		t.Errorf("%+v", running)
	}

	// All of it is in the record, and none of it is an input of the rules.
	steps := 0
	for e, err := range j.Entries(t.Context(), journal.Query{Kinds: []record.Kind{record.KindSession}}) {
		if err != nil || e.Ord != 0 || e.Place != "bench-1" || e.Written == 0 {
			t.Errorf("%+v %v", e, err)
		}
		steps++
	}
	if steps != 4 {
		t.Errorf("%d steps are kept, want 4", steps)
	}
}

func TestNamesAreRefusedAndNotRepeated(t *testing.T) {
	s := newRecordingStack(t, new(journaltest.Memory))
	for code, want := range map[string]string{
		"Pat Larch": "looks like a name", "Larch, P.": "looks like a name", "patlarch": "looks like a name", "Ånge Rowan": "looks like a name",
		"1951-04-23": "date of birth", "23.04.1951": "date of birth", "pat@example.org": "address", "": "no code", "  ": "no code",
		"K07": "not a code", "k-07": "not a code", "K-07 Larch": "looks like a name", "K-07\n": "not a code", "LARCH-7": "not a code", "К-07": "not a code",
	} {
		body, err := json.Marshal(map[string]string{"place": "bed-4", "code": code})
		if err != nil {
			t.Fatal(err)
		}
		rec := s.post("/api/v1/sessions", string(body))
		if rec.Code != 422 || !strings.Contains(rec.Body.String(), want) {
			t.Errorf("%q: %d %s, want %q", code, rec.Code, rec.Body, want)
		}
		if strings.TrimSpace(code) != "" && strings.Contains(rec.Body.String(), strings.TrimSpace(code)) && code != "K-07\n" {
			t.Errorf("%q is repeated: %s", code, rec.Body)
		}
	}
	for _, code := range []string{"K-07", "ROW-1", "P-000123"} {
		if rec := s.post("/api/v1/sessions", `{"place": "bed-4", "code": "`+code+`"}`); rec.Code != 201 && rec.Code != 409 {
			t.Errorf("%q: %d %s", code, rec.Code, rec.Body)
		}
	}
}

func TestNothingIsNotedWithoutARecord(t *testing.T) {
	s := newStack(t, built)
	for _, rec := range []*httptest.ResponseRecorder{
		s.get("/api/v1/places/bed-4/marks"), s.get("/api/v1/sessions"), s.get("/api/v1/sessions/s-1"),
		s.post("/api/v1/places/bed-4/marks", `{"what": "turned"}`), s.post("/api/v1/sessions", `{"place": "bed-4", "code": "K-07"}`),
		s.post("/api/v1/sessions/s-1/end", `{}`),
	} {
		if rec.Code != 503 || !strings.Contains(rec.Body.String(), "names no folder") || rec.Header().Get("Content-Type") != "application/problem+json" {
			t.Errorf("%d %s", rec.Code, rec.Body)
		}
	}
	if rec := s.do(httptest.NewRequest(http.MethodPut, "/api/v1/places/bed-4/marks", nil)); rec.Code != 405 || rec.Header().Get("Allow") != "GET, HEAD, POST" {
		t.Errorf("%d, allowed %q", rec.Code, rec.Header().Get("Allow"))
	}
	if rec := s.get("/api/v1/sessions/s-1/end"); rec.Code != 405 || rec.Header().Get("Allow") != "POST" {
		t.Errorf("%d, allowed %q", rec.Code, rec.Header().Get("Allow"))
	}
}

// What the journal refuses is not said to be noted.
func TestWhatIsNotKeptIsNotAnswered(t *testing.T) {
	j := new(journaltest.Memory)
	s := newRecordingStack(t, j)
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	if rec := s.post("/api/v1/places/bed-4/marks", `{"what": "turned"}`); rec.Code != 503 || !strings.Contains(rec.Body.String(), "was not kept") {
		t.Errorf("%d %s", rec.Code, rec.Body)
	}
}

// calibrationRows are readings of a sensor with 100 counts at rest and 8 a mmHg.
func calibrationRows(levels int) string {
	var rows []string
	for _, direction := range []string{"up", "down"} {
		for i := range levels {
			if direction == "down" {
				i = levels - 1 - i
			}
			rows = append(rows, fmt.Sprintf(`{"reference_mmhg": %d, "raw": %d, "cycle": 1, "direction": %q}`, 10*i, 100+80*i+i%2, direction))
		}
	}
	return "[" + strings.Join(rows, ",") + "]"
}

func TestCalibrationsAreAsDocumented(t *testing.T) {
	j := new(journaltest.Memory)
	s := newRecordingStack(t, j)
	c := newContract(t, s)
	const all, one = "/api/v1/calibrations", "/api/v1/calibrations/{calibration}"
	of := func(source, by, rows string) string {
		return `{"bridge": "new", "source": "` + source + `", "channel": 0, "by": "` + by + `", "reference": "bench gauge", "temperature_c": 21.5, "rows": ` + rows + `}`
	}
	made := s.post(all, of("leg", "E-01", calibrationRows(11)))
	if made.Code != 201 {
		t.Fatalf("%d: %s", made.Code, made.Body)
	}
	var kept struct {
		Calibration struct{ ID string }
		Record      calibration.Record
	}
	if err := json.Unmarshal(made.Body.Bytes(), &kept); err != nil || kept.Record.ID() != kept.Calibration.ID || *kept.Record.Temperature != 21.5 {
		t.Fatalf("%v, %s", err, made.Body)
	}
	c.checkOf("post", all, made)
	for _, want := range []string{`"limits":{"warn_percent_fs":5,"reject_percent_fs":15}`, `"name":"hysteresis"`, `"levels":[{"mmhg":0,`, `"left_mmhg":[`, `"verdict":"accepted"`} {
		if !strings.Contains(made.Body.String(), want) {
			t.Errorf("what it says for itself lacks %s: %s", want, made.Body)
		}
	}
	later := kept.Record
	later.By, later.ValidUntil = "E-02", later.At.Add(time.Second)
	for i, r := range []calibration.Record{kept.Record, later} { // this stack's pipeline has no recorder
		if _, err := j.Append(t.Context(), record.Entry{Ord: uint64(i + 1), At: sample.At(r.At), Author: r.By, Body: record.Calibration{Record: r}}); err != nil {
			t.Fatal(err)
		}
	}
	for _, r := range []struct {
		body   string
		status int
		says   string
	}{
		{of("leg", "Pat Larch", calibrationRows(11)), 422, "names are not kept"},
		{of("leg", "E-01", calibrationRows(3)), 422, "there are 3 levels of pressure"},
		{strings.Replace(of("leg", "E-01", calibrationRows(11)), `"by"`, `"warn_percent_fs": 20, "by"`, 1), 422, "acceptance limits of 20 and 15 %"},
		{of("none", "E-01", calibrationRows(11)), 409, "there is no such channel"},
		{strings.Replace(of("leg", "E-01", calibrationRows(11)), `"by"`, `"at": "2999-01-01T00:00:00Z", "by"`, 1), 422, "has not come yet"},
	} {
		got := s.post(all, r.body)
		if got.Code != r.status || !strings.Contains(got.Body.String(), r.says) || strings.Contains(got.Body.String(), "Pat") {
			t.Errorf("%d, want %d with %q: %s", got.Code, r.status, r.says, got.Body)
		}
		c.checkOf("post", all, got)
	}
	// What was not one is kept as such, of channels that there are; of limits that no
	// table keeps too.
	strict := strings.Replace(of("leg", "E-01", strings.ReplaceAll(calibrationRows(11), "]", `,{"reference_mmhg": 50, "raw": 520, "cycle": 2, "direction": "up"}]`)), `"by"`, `"warn_percent_fs": 0.5, "reject_percent_fs": 1, "by"`, 1)
	if got := s.post(all, strict); got.Code != 422 || !strings.Contains(got.Body.String(), "rejected: ") || !strings.Contains(got.Body.String(), "more than 1 %") {
		t.Errorf("%d %s", got.Code, got.Body)
	}
	refused := s.get(all + "?refused=true&bridge=new")
	c.check(all, refused)
	for _, want := range []string{`"calibrations":[]`, `"state":"refused","reasons":["there are 3 levels of pressure`, `"state":"rejected","reasons":[`} {
		if !strings.Contains(refused.Body.String(), want) || strings.Count(refused.Body.String(), `"id"`) != 2 {
			t.Errorf("of what was refused, nothing says %s: %s", want, refused.Body)
		}
	}
	for e, err := range j.Entries(t.Context(), journal.Query{Kinds: []record.Kind{record.KindRefused}}) {
		if err != nil || e.Ord != 0 || e.Author != "E-01" || e.Written == 0 {
			t.Errorf("%+v, %v", e, err)
		}
	}
	for ask, want := range map[string]int{"": 4, "?in_force=true": 1, "?bridge=new&source=leg&channel=0": 4, "?channel=1": 0, "?bridge=trolley": 0} {
		got := s.get(all + ask)
		c.check(all, got)
		if n := strings.Count(got.Body.String(), `"id"`); got.Code != 200 || n != want {
			t.Errorf("%s: %d records, want %d: %s", ask, n, want, got.Body)
		}
	}
	if got := s.get(all + "/" + kept.Calibration.ID); got.Code != 200 || !strings.Contains(got.Body.String(), `"in_force":false`) {
		t.Errorf("a former record: %d %s", got.Code, got.Body)
	} else {
		c.check(one, got)
	}
	c.check(one, s.get(all+"/none"))
	sheet := s.get(all + "/" + later.ID() + "/sheet")
	if policy := sheet.Header().Get("Content-Security-Policy"); sheet.Code != 200 || !strings.Contains(sheet.Body.String(), "E-02") || !strings.Contains(policy, "default-src 'none'") {
		t.Errorf("sheet: %d, %q, %.200s", sheet.Code, policy, sheet.Body)
	}
}

func TestACalibrationRunIsAsDocumented(t *testing.T) {
	s := newRecordingStack(t, new(journaltest.Memory))
	c := newContract(t, s)
	const run = "/api/v1/calibrations/run"
	id, begun := "", regexp.MustCompile(`"runs":\[\{"id":"([^"]+)"`)
	of := func(source, by, more string) string {
		return `{"bridge": "trolley", "source": "` + source + `", "channels": [0, 1], "by": "` + by + `", "reference": "bench gauge"` + more + `}`
	}
	const other = `{"run": "c-other"}`
	for _, r := range []struct {
		method, path, body string // RUN stands for the id of the run
		status             int
		says               string
	}{
		{"get", "", "", 200, `"runs":[]`},
		{"post", "/ready", other, 404, "no calibration is going on"},
		{"post", "", of("none", "E-01", ""), 404, "there is no source"},
		{"post", "", of("leg", "Pat Larch", ""), 422, "names are not kept"},
		{"post", "", of("leg", "E-01", `, "lowest_mmhg": 80, "highest_mmhg": 60`), 422, "going up"},
		{"post", "", strings.Replace(of("leg", "E-01", ""), "[0, 1]", "[0, 2]", 1), 404, "channel 2 of trolley/leg"},
		{"post", "", of("leg", "E-01", `, "highest_mmhg": 13.3, "step_mmhg": 1.33`), 422, "if these are kPa, 13.3 kPa is 99.8 mmHg"},
		{"post", "", of("leg", "E-01", `, "highest_mmhg": 100, "step_mmhg": 50`), 422, "want 4 at least: take smaller steps"},
		{"post", "", of("leg", "E-01", `, "warn_percent_fs": 0`), 422, "acceptance limits of 0 and 15 %"},
		{"post", "", of("leg", "E-01", `, "hold_s": 60`), 422, "a hold of 1m0s: want none, or 3m0s to 1h0m0s"},
		{"post", "", of("leg", "E-01", `, "cycles": 1, "hold_s": 600, "keyed": true`), 201, `"hold_s":600,"hold_left_s":null`},
		{"post", "", of("leg", "E-01", ""), 409, "another calibration is going on"},
		{"post", "/ready", `{}`, 422, "expected required property run"},
		{"post", "/ready", other, 409, "another one is going on"},
		{"post", "/ready", `{"run": "RUN"}`, 200, `"state":"silent"`},
		{"post", "/again", `{"run": "RUN"}`, 422, "nothing has been read yet"},
		{"post", "/gauge", `{"run": "RUN", "level": 0, "mmhg": 1.5}`, 200, `"reference_mmhg":1.5`},
		{"post", "/gauge", `{"run": "RUN", "level": 7, "mmhg": 1.5}`, 422, "has not been come to"},
		{"post", "/gauge", `{"run": "RUN", "level": 0, "mmhg": 40, "sure": true}`, 200, `"doubt":""`},
		{"post", "/gauge", `{"run": "c-other", "level": 0, "mmhg": 1.5}`, 409, "another one is going on"},
		{"post", "/keep", `{"run": "RUN", "channels": [0]}`, 409, "pressures are still being read"},
		{"get", "/channels/0", "", 404, "nothing has come of such a channel"},
		{"post", "/finish", `{"run": "RUN"}`, 409, "no pressure has been read"},
		{"post", "/leave", other, 409, "another one is going on"},
		{"post", "/leave", `{"run": "RUN"}`, 200, `"runs":[]`},
		{"post", "/leave", `{"run": "RUN"}`, 404, "no calibration is going on"},
	} {
		var got *httptest.ResponseRecorder
		if r.method == "get" {
			got = s.get(run + r.path)
		} else {
			got = s.post(run+r.path, strings.ReplaceAll(r.body, "RUN", id))
		}
		if found := begun.FindStringSubmatch(got.Body.String()); found != nil {
			id = found[1]
		}
		if got.Code != r.status || !strings.Contains(got.Body.String(), r.says) {
			t.Errorf("%s %s %s: %d, want %d with %q: %.400s", r.method, r.path, r.body, got.Code, r.status, r.says, got.Body)
		}
		c.checkOf(r.method, run+strings.Replace(r.path, "/0", "/{channel}", 1), got)
	}
}
