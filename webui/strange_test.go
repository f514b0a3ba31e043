package webui

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"net/url"
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

// Every route of the document is asked with strange values in each place that takes
// one. It answers with a problem, or with what was asked, and breaks nothing: never with
// a fault of its own, never with a header or a page that was brought along.
func TestNoInputBreaksAHandler(t *testing.T) {
	s := newRecordingStack(t, new(journaltest.Memory))
	s.feed()
	var doc struct {
		Paths map[string]map[string]struct {
			Parameters  []struct{ Name, In string }
			RequestBody *struct{}
		}
	}
	if err := json.Unmarshal(s.get("/api/v1/openapi.json").Body.Bytes(), &doc); err != nil {
		t.Fatal(err)
	}
	usual := strings.NewReplacer("{place}", "bench-1", "{bridge}", "trolley", "{source}", "leg", "{channel}", "0")
	asked := 0
	try := func(method, path, query, body string) {
		asked++
		r := httptest.NewRequest(method, "/", strings.NewReader(body))
		r.URL = &url.URL{Path: path, RawPath: (&url.URL{Path: path}).EscapedPath(), RawQuery: query}
		r.Header.Set("Content-Type", "application/json")
		rec := s.do(r)
		switch {
		case rec.Code >= 500 && rec.Code != http.StatusServiceUnavailable && rec.Code != http.StatusNotImplemented:
			t.Errorf("%s %.100q?%.100s %.100s: %d %.200s", method, path, query, body, rec.Code, rec.Body)
		case rec.Header().Get("Set-Cookie") != "":
			t.Errorf("%s %.100q: a cookie %s", method, path, rec.Header().Get("Set-Cookie"))
		case strings.HasPrefix(rec.Header().Get("Content-Type"), "text/html") && strings.Contains(rec.Body.String(), "<script>weal"):
			t.Errorf("%s %.100q: a page of others", method, path)
		}
	}
	for path, methods := range doc.Paths {
		for method, op := range methods {
			method = strings.ToUpper(method)
			for _, p := range op.Parameters {
				for _, value := range strange {
					switch p.In {
					case "path":
						try(method, usual.Replace(strings.Replace(path, "{"+p.Name+"}", value, 1)), "", "{}")
					case "query":
						try(method, usual.Replace(path), url.Values{p.Name: {value, value}}.Encode(), "{}")
						try(method, usual.Replace(path), p.Name+"="+strings.ReplaceAll(value, "\x00", ""), "{}") // as it is
					}
				}
			}
			if op.RequestBody == nil {
				continue
			}
			for _, body := range []string{
				"", "null", "[]", `"x"`, "0", "{", "\x00", `{"":{}}`, `{"place":"bench-1","code":null}`, `{"place":["bench-1"],"by":1e400}`,
				strings.Repeat("[", 20000), `{"x":` + strings.Repeat(`{"x":`, 20000), `{"what":"` + strings.Repeat("\\u0000", 60) + `"}`, "\xef\xbb\xbf{}",
			} {
				try(method, usual.Replace(path), "", body)
			}
		}
	}
	if asked < 2000 {
		t.Errorf("only %d requests were made", asked)
	}
	if rec := s.get("/api/v1/places"); rec.Code != 200 {
		t.Errorf("afterwards it does not answer: %d", rec.Code)
	}
}
