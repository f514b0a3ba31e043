package webui

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"testing"

	"weald/stream/access"
	"weald/stream/access/directory"
	"weald/stream/access/directory/directorytest"
)

// Who comes back from the directory of the house is let in as the account at which an
// admin has entered that person; and whatever the directory does, a password works on.
func TestLogInAtADirectory(t *testing.T) {
	g := newGuarded(t)
	if rec := g.do(g.as(access.Nobody, "GET", "/api/v1/directory/begin", "")); rec.Code != http.StatusConflict {
		t.Errorf("where there is none: %d", rec.Code)
	}
	i := directorytest.New(t)
	d := directory.New(directory.Settings{Issuer: i.URL, ClientID: directorytest.ClientID, Claim: "sub", Return: directorytest.Return}, func() (string, error) { return directorytest.Secret, nil })
	g = newGuarded(t, func(o *Options) { o.API.Directory = d })
	begin := func() (to string, flow *http.Cookie) {
		t.Helper()
		rec := g.do(g.as(access.Nobody, "GET", "/api/v1/directory/begin", ""))
		if rec.Code != http.StatusSeeOther {
			t.Fatalf("%d %s", rec.Code, rec.Body)
		}
		return rec.Header().Get("Location"), cookies(rec)["weald-flow"]
	}
	back := func(state, code string, flow *http.Cookie) *httptest.ResponseRecorder {
		r := g.as(access.Nobody, "GET", "/api/v1/directory/return?"+url.Values{"state": {state}, "code": {code}}.Encode(), "")
		if flow != nil {
			r.AddCookie(&http.Cookie{Name: flow.Name, Value: flow.Value})
		}
		return g.do(r)
	}
	refused := func(what, want string, rec *httptest.ResponseRecorder) {
		t.Helper()
		if rec.Code != http.StatusSeeOther || rec.Header().Get("Location") != want || cookies(rec)["weald"] != nil {
			t.Errorf("%s: %d to %s, %v", what, rec.Code, rec.Header().Get("Location"), rec.Result().Cookies())
		}
	}

	i.Away = true
	to, _ := begin()
	if to != "/#directory-away" {
		t.Errorf("away: sent to %s", to)
	}
	if rec := g.do(g.as(access.Nobody, "POST", "/api/v1/log-in", `{"name":"kai","password":"`+annas+`"}`)); rec.Code != http.StatusOK {
		t.Errorf("a password while it is away: %d", rec.Code)
	}
	i.Away = false

	to, flow := begin()
	if flow == nil || !flow.HttpOnly || flow.SameSite != http.SameSiteLaxMode || flow.MaxAge != 0 {
		t.Fatalf("%+v", flow)
	}
	refused("nobody's account", "/#directory-unknown", back(i.Sent(to, g.now.Time()), directorytest.Code, flow))
	enter := func(name, body string, want int) {
		t.Helper()
		if rec := g.do(g.as(access.Admin, "POST", "/api/v1/accounts/"+name+"/directory", body)); rec.Code != want {
			t.Fatalf("%s: %d %s", name, rec.Code, rec.Body)
		}
	}
	kai := `{"directory":"` + directorytest.Subject + `"}`
	enter("kai", kai, 200)
	enter("anna", kai, 409) // nobody is two
	enter("none", kai, 409)
	enter("none", `{"directory":"4712"}`, 404)
	to, flow = begin()
	rec := back(i.Sent(to, g.now.Time()), directorytest.Code, flow)
	got := cookies(rec)
	if rec.Code != http.StatusSeeOther || rec.Header().Get("Location") != "/" || got["weald"] == nil || got["weald"].SameSite != http.SameSiteStrictMode || got["weald-flow"].MaxAge >= 0 {
		t.Fatalf("%d to %s, %v", rec.Code, rec.Header().Get("Location"), rec.Result().Cookies())
	}
	if who := g.access.BySession(got["weald"].Value, g.now, false); who.Name != "kai" || who.Role != access.Carer {
		t.Errorf("let in as %+v", who)
	}
	to, flow = begin()
	refused("a code that it does not know", "/#directory-refused", back(i.Sent(to, g.now.Time()), "bad", flow))
	to, _ = begin()
	refused("another browser", "/#directory-refused", back(i.Sent(to, g.now.Time()), directorytest.Code, nil))
	to, flow = begin()
	state := i.Sent(to, g.now.Time())
	i.Away = true
	if rec := back(state, directorytest.Code, flow); cookies(rec)["weald"] != nil {
		t.Error("let in while it is away")
	}
	var said []string
	for _, e := range g.events {
		if e.Route.ID == "directory-return" && e.Who.Name != "" {
			said = append(said, e.Who.Name)
		}
	}
	if len(said) != 1 || said[0] != "kai" {
		t.Errorf("the audit is told of %v", said)
	}
}
