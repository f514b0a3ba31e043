package webui

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"slices"
	"strings"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/stream/access"
	"weald/stream/access/password"
	"weald/stream/journal/journaltest"
	"weald/webui/gate"
	"weald/webui/route"
)

const annas = "vier blaue Heringe"

// A guarded stack is a daemon with accounts: anna, an admin, kai, a carer, and a pass
// for every role.
type guarded struct {
	*stack
	access *access.Access
	now    sample.Instant
	keys   map[access.Role]string
	events []gate.Event
}

func newGuarded(t *testing.T, with ...func(*Options)) *guarded {
	t.Helper()
	g := &guarded{now: sample.At(time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)), keys: map[access.Role]string{}}
	j := new(journaltest.Memory)
	var err error
	if g.access, err = access.Read(t.Context(), j, access.DefaultLimits, g.now); err != nil {
		t.Fatal(err)
	}
	g.access.Hasher = password.Cheap()
	d := access.Deed{By: "console", Now: g.now}
	for name, role := range map[string]access.Role{"anna": access.Admin, "kai": access.Carer} {
		if err := g.access.Make(t.Context(), d, name, role, annas); err != nil {
			t.Fatal(err)
		}
	}
	for _, role := range access.Roles() {
		if _, g.keys[role], err = g.access.MakePass(t.Context(), d, access.Pass{Means: access.Token, Name: role.String(), Role: role, Ends: g.now.Add(time.Hour)}); err != nil {
			t.Fatal(err)
		}
	}
	ask := access.Pass{Means: access.Screen, Name: "corridor", Range: netip.MustParsePrefix("192.0.2.0/28")}
	if _, g.keys[access.Wall], err = g.access.MakePass(t.Context(), d, ask); err != nil {
		t.Fatal(err)
	}
	g.stack = newStackOf(t, built, wardPlan(), nil, append(with, func(o *Options) {
		o.API.Record = j
		o.Gate = gate.Gate{Access: g.access, Now: func() sample.Instant { return g.now }, Seen: func(_ context.Context, e gate.Event) { g.events = append(g.events, e) }}
	})...)
	return g
}

// as is a request of somebody who has shown a role.
func (g *guarded) as(role access.Role, method, path, body string) *http.Request {
	r := httptest.NewRequest(method, path, strings.NewReader(body))
	r.RemoteAddr = "192.0.2.7:999"
	if body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	switch role {
	case access.Nobody:
	case access.Wall:
		r.AddCookie(&http.Cookie{Name: "weald-screen", Value: g.keys[role]})
	default:
		r.Header.Set("Authorization", "Bearer "+g.keys[role])
	}
	return r
}

// Every route is asked for in every role: who may is let through, to whatever the
// handler says; nobody is asked to log in, and whose role does not suffice is told so.
func TestEveryRouteInEveryRole(t *testing.T) {
	g := newGuarded(t)
	open := newStack(t, built)
	refused := 0
	for i := range route.All {
		of := &route.All[i]
		path := of.Path
		for _, name := range of.Names() {
			path = strings.NewReplacer("{"+name+"}", "none", "{"+name+"...}", "").Replace(path)
		}
		body := ""
		if of.Method == http.MethodPost {
			body = "{}"
		}
		for role := access.Nobody; role <= access.Admin; role++ {
			before := len(g.events)
			rec := g.do(g.as(role, of.Method, path, body))
			want := 0
			switch {
			case role >= of.Least:
			case role == access.Nobody:
				want = http.StatusUnauthorized
			default:
				want = http.StatusForbidden
			}
			if got := rec.Code; want != 0 && got != want || want == 0 && (got == http.StatusUnauthorized || got == http.StatusForbidden) {
				t.Errorf("%s as %s: %d %s", of.Pattern(), role, got, rec.Body)
			}
			if want != 0 {
				refused++
				if rec.Header().Get("Content-Type") != "application/problem+json" || want == 401 && rec.Header().Get("WWW-Authenticate") == "" {
					t.Errorf("%s as %s: %v", of.Pattern(), role, rec.Header())
				}
			}
			told := g.events[before:]
			if (len(told) == 1) != (of.Audit != route.None) || len(told) == 1 && (told[0].Route != of || told[0].Status != rec.Code || told[0].Who.Role != role || told[0].From.String() != "192.0.2.7") {
				t.Errorf("%s as %s: the audit is told %+v", of.Pattern(), role, told)
			}
		}
		r := httptest.NewRequest(of.Method, path, strings.NewReader(body))
		if rec := open.do(r); rec.Code == 401 || rec.Code == 403 {
			t.Errorf("%s without accounts: %d", of.Pattern(), rec.Code)
		}
		if of.Least <= access.Wall && of.Least > access.Nobody && of.Method != http.MethodGet {
			t.Errorf("%s: a wall screen only looks", of.Pattern())
		}
	}
	if refused < 200 {
		t.Errorf("%d refusals only", refused)
	}
}

// The OpenAPI document has the routes of the table, no others, and says who may.
func TestTheDocumentIsTheTable(t *testing.T) {
	s := newStack(t, built)
	var document struct {
		Paths map[string]map[string]struct {
			OperationID string `json:"operationId"`
			Least       string `json:"x-least-role"`
			Security    []map[string][]string
		}
		Components struct {
			SecuritySchemes map[string]any `json:"securitySchemes"`
		}
	}
	if err := json.Unmarshal(s.get("/api/v1/openapi.json").Body.Bytes(), &document); err != nil {
		t.Fatal(err)
	}
	apart := []string{"pages", "openapi", "live", "metrics"} // not of the interface that the document describes
	var listed []string
	for path, methods := range document.Paths {
		for method, op := range methods {
			listed = append(listed, op.OperationID)
			of := route.Of(op.OperationID)
			if of == nil || of.Path != path || !strings.EqualFold(of.Method, method) {
				t.Errorf("%s %s is %+v in the table", method, path, of)
				continue
			}
			var schemes []string
			for _, s := range op.Security {
				for name := range s {
					schemes = append(schemes, name)
					if document.Components.SecuritySchemes[name] == nil {
						t.Errorf("%s: nothing says what %s is", of.ID, name)
					}
				}
			}
			least, want := "", ""
			if of.Least > access.Nobody {
				least, want = of.Least.String(), "[session token]"
			} else if strings.HasPrefix(of.ID, "my-seat") {
				want = "[seatLink]"
			} else {
				want = "[]"
			}
			if op.Least != least || fmt.Sprint(schemes) != want {
				t.Errorf("%s: least role %q, by %v", of.ID, op.Least, schemes)
			}
		}
	}
	for i := range route.All {
		if id := route.All[i].ID; slices.Contains(listed, id) == slices.Contains(apart, id) {
			t.Errorf("%s: in the document %t", id, slices.Contains(listed, id))
		}
	}
	if len(listed)+len(apart) != len(route.All) {
		t.Errorf("%d operations and %d apart of %d routes", len(listed), len(apart), len(route.All))
	}
}

func cookies(rec *httptest.ResponseRecorder) map[string]*http.Cookie {
	out := map[string]*http.Cookie{}
	for _, c := range rec.Result().Cookies() {
		out[c.Name] = c
	}
	return out
}

// Whoever logs in gets a cookie that no script reads, no other site sends, and over
// TLS nothing but TLS carries; with it that person acts under the own name alone.
func TestLogInActAndLogOut(t *testing.T) {
	g := newGuarded(t)
	for _, secure := range []bool{false, true} {
		log := func(body string) *httptest.ResponseRecorder {
			r := g.as(access.Nobody, "POST", "/api/v1/log-in", body)
			if secure {
				r.TLS = new(tls.ConnectionState)
			}
			return g.do(r)
		}
		if rec := log(`{"name":"kai","password":"nicht das richtige"}`); rec.Code != 401 || len(cookies(rec)) != 0 {
			t.Errorf("a wrong password: %d %v", rec.Code, cookies(rec))
		}
		rec := log(`{"name":"kai","password":"` + annas + `"}`)
		name := map[bool]string{false: "weald", true: "__Host-weald"}[secure]
		got := cookies(rec)
		for which, lasting := range map[string]bool{name: false, name + "-device": true} {
			c := got[which]
			if c == nil || !c.HttpOnly || c.Secure != secure || c.SameSite != http.SameSiteStrictMode || c.Path != "/" || c.Domain != "" || (c.MaxAge > 0) != lasting {
				t.Fatalf("%d %s: %+v", rec.Code, which, c)
			}
		}
		if strings.Contains(rec.Body.String(), got[name].Value) {
			t.Error("scripts can read the key")
		}
		with := func(method, path, body string) *httptest.ResponseRecorder {
			r := g.as(access.Nobody, method, path, body)
			if secure {
				r.TLS = new(tls.ConnectionState)
			}
			r.AddCookie(&http.Cookie{Name: name, Value: got[name].Value})
			return g.do(r)
		}
		if rec := with("POST", "/api/v1/places/bench-1/marks", `{"what":"turned","author":"K-08"}`); rec.Code != 422 {
			t.Errorf("signed for another: %d %s", rec.Code, rec.Body)
		}
		rec = with("POST", "/api/v1/places/bench-1/marks", `{"what":"turned"}`)
		if rec.Code != 201 || !strings.Contains(rec.Body.String(), `"author":"kai"`) {
			t.Errorf("a mark: %d %s", rec.Code, rec.Body)
		}
		if rec := with("POST", "/api/v1/accounts", `{}`); rec.Code != 403 {
			t.Errorf("an account by a carer: %d", rec.Code)
		}
		if !secure {
			// What came without TLS opens nothing over TLS, where anybody on the way may have set it.
			r := g.as(access.Nobody, "GET", "/api/v1/places", "")
			r.TLS = new(tls.ConnectionState)
			r.AddCookie(&http.Cookie{Name: name, Value: got[name].Value})
			if rec := g.do(r); rec.Code != 401 {
				t.Errorf("a plain cookie over TLS: %d", rec.Code)
			}
		}
		if rec := with("POST", "/api/v1/log-out", `{}`); rec.Code != 200 || cookies(rec)[name].MaxAge >= 0 {
			t.Errorf("log-out: %d %v", rec.Code, rec.Result().Cookies())
		}
		if rec := with("GET", "/api/v1/places", ""); rec.Code != 401 {
			t.Errorf("after the log-out: %d", rec.Code)
		}
	}
	var said []string
	for _, e := range g.events {
		if e.Route.ID == "log-in" {
			said = append(said, fmt.Sprint(e.Status, " ", e.Subject, " ", e.Who.Name))
		}
	}
	if want := "[401 account=kai  200 account=kai kai 401 account=kai  200 account=kai kai]"; fmt.Sprint(said) != want {
		t.Errorf("the audit is told %v, want %s", said, want)
	}
}

// Tries at a password are few, and the answer says how long to wait.
func TestLogInIsLimited(t *testing.T) {
	g := newGuarded(t)
	body := `{"name":"geheim geheim geheim","password":"nicht das richtige"}`
	for range 10 {
		if rec := g.do(g.as(access.Nobody, "POST", "/api/v1/log-in", body)); rec.Code != 401 {
			t.Fatalf("%d %s", rec.Code, rec.Body)
		}
	}
	rec := g.do(g.as(access.Nobody, "POST", "/api/v1/log-in", body))
	if rec.Code != 429 || rec.Header().Get("Retry-After") != "120" {
		t.Errorf("%d %v", rec.Code, rec.Header())
	}
	if last := g.events[len(g.events)-1]; strings.Contains(last.Subject, "geheim") {
		t.Errorf("what was typed as a name may be a password, and the audit has it: %+v", last)
	}
}

// A wall screen shows the present, from its addresses, until it is withdrawn.
func TestWallScreen(t *testing.T) {
	g := newGuarded(t)
	ask := func(addr string) *httptest.ResponseRecorder {
		r := g.as(access.Wall, "GET", "/api/v1/places", "")
		r.RemoteAddr = addr + ":999"
		return g.do(r)
	}
	if in, out := ask("192.0.2.7").Code, ask("192.0.2.99").Code; in != 200 || out != 401 {
		t.Errorf("from its addresses %d, from others %d", in, out)
	}
	key := `{"key":"` + g.keys[access.Wall] + `"}`
	rec := g.do(g.as(access.Nobody, "POST", "/api/v1/screen", key))
	if c := cookies(rec)["weald-screen"]; rec.Code != 200 || c == nil || c.Value != g.keys[access.Wall] || c.MaxAge <= 0 || !c.HttpOnly {
		t.Errorf("%d %v", rec.Code, rec.Result().Cookies())
	}
	for _, p := range g.access.Passes() {
		if p.Means == access.Screen {
			if rec := g.do(g.as(access.Admin, "POST", "/api/v1/passes/"+p.ID+"/withdraw", "{}")); rec.Code != 200 {
				t.Fatalf("%d %s", rec.Code, rec.Body)
			}
		}
	}
	if code := ask("192.0.2.7").Code; code != 401 {
		t.Errorf("withdrawn: %d", code)
	}
	if rec := g.do(g.as(access.Nobody, "POST", "/api/v1/screen", key)); rec.Code != 401 || len(cookies(rec)) != 0 {
		t.Errorf("its link: %d", rec.Code)
	}
}

// What an admin does with accounts, over HTTP, is as documented.
func TestAccountsOverHTTP(t *testing.T) {
	g := newGuarded(t)
	c := newContract(t, g.stack)
	do := func(method, path, at, body string, want int) object {
		t.Helper()
		rec := g.do(g.as(access.Admin, method, path, body))
		if rec.Code != want {
			t.Errorf("%s: %d %s, want %d", path, rec.Code, rec.Body, want)
		}
		c.checkOf(strings.ToLower(method), at, rec)
		var out object
		_ = json.Unmarshal(rec.Body.Bytes(), &out)
		if strings.Contains(rec.Body.String(), "argon2id") {
			t.Errorf("%s shows a hash", path)
		}
		return out
	}
	const all, passes = "/api/v1/accounts", "/api/v1/passes"
	made := do("POST", all, all, `{"name":"Mira","role":"viewer","password":"`+annas+`"}`, 201)["accounts"].([]any)
	if len(made) != 3 || made[2].(object)["name"] != "Mira" || made[2].(object)["made_by"] != "admin (token)" {
		t.Errorf("%v", made)
	}
	do("POST", all, all, `{"name":"mira","role":"viewer","password":"`+annas+`"}`, 409)
	do("POST", all, all, `{"name":"kim","role":"wall","password":"`+annas+`"}`, 422)
	do("POST", all, all, `{"name":"kim","role":"viewer","password":"kurz"}`, 422)
	do("POST", all+"/mira/role", all+"/{account}/role", `{"role":"engineer"}`, 200)
	do("POST", all+"/anna/role", all+"/{account}/role", `{"role":"viewer"}`, 409)
	do("POST", all+"/none/role", all+"/{account}/role", `{"role":"viewer"}`, 404)
	do("POST", all+"/mira/password", all+"/{account}/password", `{"password":"sieben graue Kraniche"}`, 200)
	do("POST", all+"/mira/log-out", all+"/{account}/log-out", `{}`, 200)
	do("POST", all+"/mira/remove", all+"/{account}/remove", `{}`, 200)
	if left := do("GET", all, all, "", 200)["accounts"].([]any); len(left) != 2 {
		t.Errorf("%v", left)
	}
	ends := g.now.Add(time.Hour).Time().Format(time.RFC3339)
	token := do("POST", passes, passes, `{"means":"token","name":"scraper","role":"viewer","ends_at":"`+ends+`"}`, 201)
	if key, _ := token["key"].(string); g.access.ByToken(key, netip.Addr{}, g.now).Role != access.Viewer {
		t.Errorf("%v", token)
	}
	screen := do("POST", passes, passes, `{"means":"screen","name":"hall","range":"192.0.2.0/28","base":"https://weald.example"}`, 201)
	if url, _ := screen["url"].(string); !strings.HasPrefix(url, "https://weald.example/screen#") || screen["key"] != "" {
		t.Errorf("%v", screen)
	}
	do("POST", passes, passes, `{"means":"screen","name":"hall","range":"everywhere","base":"https://weald.example"}`, 422)
	do("POST", passes, passes, `{"means":"token","name":"endless","role":"viewer"}`, 422)
	do("POST", passes+"/none/withdraw", passes+"/{pass}/withdraw", `{}`, 404)
	do("GET", passes, passes, "", 200)
	do("GET", "/api/v1/me", "/api/v1/me", "", 200)
}
