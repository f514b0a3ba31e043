package webui

import (
	"cmp"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"testing"

	"weald/stream/journal/journaltest"
)

// strange is what nobody means to send.
var strange = []string{
	"", "..", "../../etc/passwd", "%00", "\x00", "\xff\xfe", "<script>weal()</script>", "a\r\nSet-Cookie: weal=1", "-1", "1e400", "NaN",
	"99999999999999999999", "0001-01-01T00:00:00Z", "9999-12-31T23:59:59Z", "2026-03-01T22:00:60+99:99", "null", "true", "'; drop table entries; --",
	"*", "%d%s%n", "{{.}}", "\u202egnorw", strings.Repeat("a", 5000), strings.Repeat("*a", 500), strings.Repeat(",", 2000),
}

// A way is a route of the document as it can be asked.
type way struct {
	method, path string
	parameters   []struct{ Name, In string }
	body         bool
}

// ways lists what the document describes, in one order.
func (s *stack) ways() []way {
	var doc struct {
		Paths map[string]map[string]struct {
			Parameters  []struct{ Name, In string }
			RequestBody *struct{}
		}
	}
	if err := json.Unmarshal(s.get("/api/v1/openapi.json").Body.Bytes(), &doc); err != nil {
		s.t.Fatal(err)
	}
	var all []way
	for path, methods := range doc.Paths {
		for method, op := range methods {
			all = append(all, way{strings.ToUpper(method), path, op.Parameters, op.RequestBody != nil})
		}
	}
	slices.SortFunc(all, func(a, b way) int {
		return cmp.Or(strings.Compare(a.path, b.path), strings.Compare(a.method, b.method))
	})
	return all
}

// usual fills the parameters of a path with what there is.
var usual = strings.NewReplacer("{place}", "bench-1", "{bridge}", "trolley", "{source}", "leg", "{channel}", "0")

// try asks, and says what is wrong with the answer, if anything: a handler answers with
// a problem, or with what was asked, and breaks nothing: never with a fault of its own,
// never with a header or a page that was brought along.
func (s *stack) try(method, path, query, body string) error {
	r := httptest.NewRequest(method, "/", strings.NewReader(body))
	r.URL = &url.URL{Path: path, RawPath: (&url.URL{Path: path}).EscapedPath(), RawQuery: query}
	r.Header.Set("Content-Type", "application/json")
	rec := s.do(r)
	switch {
	case rec.Code >= 500 && rec.Code != http.StatusServiceUnavailable && rec.Code != http.StatusNotImplemented:
		return fmt.Errorf("%s %.100q?%.100s %.100s: %d %.200s", method, path, query, body, rec.Code, rec.Body)
	case slices.ContainsFunc(rec.Result().Cookies(), func(c *http.Cookie) bool { return c.Value != "" }): // whoever logs out loses one
		return fmt.Errorf("%s %.100q: a cookie %s", method, path, rec.Header().Get("Set-Cookie"))
	case strings.HasPrefix(rec.Header().Get("Content-Type"), "text/html") && strings.Contains(rec.Body.String(), "<script>weal"):
		return fmt.Errorf("%s %.100q: a page of others", method, path)
	}
	return nil
}

// Every route of the document is asked with strange values in each place that takes
// one.
func TestNoInputBreaksAHandler(t *testing.T) {
	s := newRecordingStack(t, new(journaltest.Memory))
	s.feed()
	asked := 0
	try := func(method, path, query, body string) {
		asked++
		if err := s.try(method, path, query, body); err != nil {
			t.Error(err)
		}
	}
	for _, w := range s.ways() {
		for _, p := range w.parameters {
			for _, value := range strange {
				switch p.In {
				case "path":
					try(w.method, usual.Replace(strings.Replace(w.path, "{"+p.Name+"}", value, 1)), "", "{}")
				case "query":
					try(w.method, usual.Replace(w.path), url.Values{p.Name: {value, value}}.Encode(), "{}")
					try(w.method, usual.Replace(w.path), p.Name+"="+strings.ReplaceAll(value, "\x00", ""), "{}") // as it is
				}
			}
		}
		if !w.body {
			continue
		}
		for _, body := range []string{
			"", "null", "[]", `"x"`, "0", "{", "\x00", `{"":{}}`, `{"place":"bench-1","code":null}`, `{"place":["bench-1"],"by":1e400}`,
			strings.Repeat("[", 20000), `{"x":` + strings.Repeat(`{"x":`, 20000), `{"what":"` + strings.Repeat("\\u0000", 60) + `"}`, "\xef\xbb\xbf{}",
		} {
			try(w.method, usual.Replace(w.path), "", body)
		}
	}
	if asked < 2000 {
		t.Errorf("only %d requests were made", asked)
	}
	if rec := s.get("/api/v1/places"); rec.Code != 200 {
		t.Errorf("afterwards it does not answer: %d", rec.Code)
	}
}

// The same with what a machine thinks of: the first parameter of a path, a query, a body.
func FuzzHandler(f *testing.F) {
	s := newRecordingStack(f, new(journaltest.Memory))
	s.feed()
	ways := s.ways()
	for i, w := range ways {
		f.Add(uint16(i), "", "from=2026-03-01T08:00:00Z&to=2026-03-01T09:00:00Z&name=ankle.pressure&points=10&at=&state=", "{}")
		if w.body {
			f.Add(uint16(i), "bench-1", "", `{"place":"bench-1","code":"K-07","what":"turned","by":"N-2","at":"2026-03-01T08:00:00Z","regions":[]}`)
		}
	}
	f.Fuzz(func(t *testing.T, route uint16, first, query, body string) {
		w := ways[int(route)%len(ways)]
		path := w.path
		if from, to := strings.Index(path, "{"), strings.Index(path, "}"); from >= 0 && first != "" {
			path = path[:from] + first + path[to+1:]
		}
		if err := s.try(w.method, usual.Replace(path), query, body); err != nil {
			t.Error(err)
		}
	})
}
