package api

import (
	"context"
	"errors"
	"fmt"
	"math"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"weald/stream/access"
	"weald/webui/cookie"
	"weald/webui/route"
)

type meBody struct {
	Accounts  bool     `json:"accounts" doc:"Whether there are accounts here; without them everybody who reaches the daemon may do everything"`
	Directory bool     `json:"directory" doc:"Whether there is a directory of the house at which one can log in: GET /api/v1/directory/begin leads there"`
	Keeps     bool     `json:"keeps" doc:"Whether there is a record; what is asked of it is answered with 503 where there is none"`
	First     bool     `json:"first" doc:"There is no account yet: the first one is made on the machine"`
	Name      string   `json:"name" doc:"Of the account, the token or the screen; empty for nobody"`
	Role      string   `json:"role" enum:"nobody,wall,viewer,carer,engineer,admin"`
	Means     string   `json:"means" enum:"open,none,session,token,screen,console" doc:"How this was shown; open where there are no accounts"`
	May       []string `json:"may" nullable:"false" doc:"The operations of this document that are permitted"`
}

type meAnswer struct {
	SetCookie []string `header:"Set-Cookie"`
	Body      meBody
}

type logInInput struct {
	Body struct {
		Name     string `json:"name" maxLength:"128"`
		Password string `json:"password" maxLength:"1024"`
	}
}

type screenInput struct {
	Body struct {
		Key string `json:"key" maxLength:"128" doc:"What stands behind the # in the link"`
	}
}

type changeInput struct {
	Body struct {
		Old string `json:"old" maxLength:"1024"`
		New string `json:"new" maxLength:"1024"`
	}
}

func (s *server) addMe(api huma.API) {
	huma.Register(api, operation("me", "Who asks, and what is permitted"), func(ctx context.Context, _ *struct{}) (*meAnswer, error) {
		return s.me(access.From(ctx)), nil
	})
	huma.Register(api, step("log-in", "Begin a session; its cookie comes with the answer", 401, 409, 429), s.logIn)
	huma.Register(api, step("log-out", "End the session, or what a screen shows"), s.logOut)
	huma.Register(api, step("here", "Somebody is there: the session is not idle. What pages ask for by themselves does not say so"), func(ctx context.Context, _ *struct{}) (*meAnswer, error) {
		return s.me(access.From(ctx)), nil // that it was asked is what counts
	})
	huma.Register(api, step("open-screen", "Turn a browser into a wall screen, with the key of a link", 401, 409, 429), s.openScreen)
	huma.Register(api, step("change-password", "Change the own password, which ends all sessions of the account", 409, 429), s.changePassword)
}

func (s *server) me(who access.Who, cookies ...string) *meAnswer {
	a := &meAnswer{SetCookie: cookies, Body: meBody{Accounts: s.Access != nil, Keeps: s.Record != nil, Directory: s.Directory != nil, Name: who.Name, Role: who.Role.String(), Means: string(who.Means), May: []string{}}}
	if a.Body.First = s.Access != nil && !s.Access.Any(); who.Means == "" {
		a.Body.Means = string(access.None)
	}
	for i := range route.All {
		if of := &route.All[i]; who.Role.May(of.Least) {
			a.Body.May = append(a.Body.May, of.ID)
		}
	}
	return a
}

// doors returns an error where there are no accounts.
func (s *server) doors() error {
	if s.Access == nil {
		return huma.Error409Conflict("there are no accounts here: the configuration does not say web.accounts: required")
	}
	return nil
}

func (s *server) logIn(ctx context.Context, in *logInInput) (*meAnswer, error) {
	if err := s.doors(); err != nil {
		return nil, err
	}
	visit, b := access.Of(ctx), &in.Body
	if s.Access.Known(b.Name) { // else it may be anything, such as a password
		visit.About = "account=" + b.Name
	}
	got, err := s.Access.LogIn(ctx, b.Name, b.Password, visit, s.Now())
	if err != nil {
		return nil, doorError(err)
	}
	visit.Who = got.Who
	cookies := []string{cookie.Set(cookie.Session, got.Key, visit.Secure)}
	if got.Device != "" {
		cookies = append(cookies, cookie.Set(cookie.Device, got.Device, visit.Secure))
	}
	return s.me(got.Who, cookies...), nil
}

func (s *server) logOut(ctx context.Context, _ *struct{}) (*meAnswer, error) {
	visit := access.Of(ctx)
	of := cookie.Session
	switch visit.Who.Means {
	case access.Session:
		if err := s.Access.LogOut(ctx, visit.Who, s.Now()); err != nil {
			return nil, notKept(err)
		}
	case access.Screen:
		of = cookie.Screen // which else shows again what it did before somebody logged in on it
	}
	return s.me(access.Who{}, cookie.Set(of, "", visit.Secure)), nil
}

func (s *server) openScreen(ctx context.Context, in *screenInput) (*meAnswer, error) {
	if err := s.doors(); err != nil {
		return nil, err
	}
	visit := access.Of(ctx)
	who, err := s.Access.OpenScreen(in.Body.Key, visit, s.Now())
	if err != nil {
		return nil, doorError(err)
	}
	visit.Who = who
	return s.me(who, cookie.Set(cookie.Screen, in.Body.Key, visit.Secure)), nil
}

func (s *server) changePassword(ctx context.Context, in *changeInput) (*meAnswer, error) {
	if err := s.doors(); err != nil {
		return nil, err
	}
	visit := access.Of(ctx)
	if visit.Who.Means != access.Session {
		return nil, huma.Error409Conflict("a " + string(visit.Who.Means) + " has no password")
	}
	if err := s.Access.ChangePassword(ctx, visit, in.Body.Old, in.Body.New, s.Now()); err != nil {
		if errors.Is(err, access.ErrWrong) {
			return nil, huma.Error409Conflict("old: this is not the password")
		}
		return nil, doorError(err)
	}
	return s.me(access.Who{}, cookie.Set(cookie.Session, "", visit.Secure)), nil
}

// doorError says why somebody was not let in, or an account was not changed.
func doorError(err error) error {
	var many access.TooMany
	switch {
	case errors.As(err, &many):
		e := huma.Error429TooManyRequests(many.Error())
		return huma.ErrorWithHeaders(e, http.Header{"Retry-After": {fmt.Sprint(math.Ceil(many.Wait.Seconds()))}})
	case errors.Is(err, access.ErrWrong), errors.Is(err, access.ErrKey):
		return huma.Error401Unauthorized(err.Error())
	case errors.Is(err, access.ErrBusy):
		return huma.Error503ServiceUnavailable(err.Error())
	case errors.Is(err, access.ErrNone), errors.Is(err, access.ErrPass):
		return huma.Error404NotFound(err.Error())
	case errors.Is(err, access.ErrTaken), errors.Is(err, access.ErrLast), errors.Is(err, access.ErrMany), errors.Is(err, access.ErrGone):
		return huma.Error409Conflict(err.Error())
	case errors.Is(err, access.ErrAsked):
		return huma.Error422UnprocessableEntity(err.Error())
	}
	return notKept(err)
}
