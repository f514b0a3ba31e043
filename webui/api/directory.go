package api

import (
	"context"
	"errors"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"weald/stream/access"
	"weald/stream/access/directory"
	"weald/webui/cookie"
)

// Where a browser is sent that comes from a directory of the house, or could not be
// sent there. The page says what stands behind the #.
const (
	entered     = "/"
	afterAway   = "/#directory-away"
	afterOther  = "/#directory-refused"
	afterNobody = "/#directory-unknown"
)

type returnInput struct {
	State string `query:"state" maxLength:"100"`
	Code  string `query:"code" maxLength:"4096"`
	Error string `query:"error" maxLength:"200" doc:"Why the directory did not show who that is"`
}

type sentOn struct {
	Status    int
	Location  string   `header:"Location"`
	SetCookie []string `header:"Set-Cookie"`
}

func (s *server) addDirectory(api huma.API) {
	sends := func(id, summary string) huma.Operation {
		op := operation(id, summary, 409, 422)
		op.DefaultStatus = http.StatusSeeOther
		return op
	}
	huma.Register(api, sends("directory-begin", "Send a browser to the directory of the house, where somebody logs in"), s.toDirectory)
	huma.Register(api, sends("directory-return", "Where the directory sends it back to"), s.fromDirectory)
}

// shown returns an error where there is no directory.
func (s *server) shown() error {
	if s.Directory == nil {
		return huma.Error409Conflict("there is no directory here: the configuration has no web.oidc")
	}
	return s.doors()
}

func send(to string, cookies ...string) *sentOn {
	return &sentOn{Status: http.StatusSeeOther, Location: to, SetCookie: cookies}
}

func (s *server) toDirectory(ctx context.Context, _ *struct{}) (*sentOn, error) {
	if err := s.shown(); err != nil {
		return nil, err
	}
	to, state, err := s.Directory.Begin(s.Now().Time())
	if err != nil {
		access.Of(ctx).About = "directory=away"
		return send(afterAway), nil
	}
	return send(to, cookie.Set(cookie.Flow, state, access.Of(ctx).Secure)), nil
}

func (s *server) fromDirectory(ctx context.Context, in *returnInput) (*sentOn, error) {
	if err := s.shown(); err != nil {
		return nil, err
	}
	visit := access.Of(ctx)
	over := cookie.Set(cookie.Flow, "", visit.Secure)
	who, err := s.Directory.Finish(ctx, in.State, visit.Flow, in.Code, s.Now().Time())
	switch {
	case errors.Is(err, directory.ErrAway):
		visit.About = "directory=away"
		return send(afterAway, over), nil
	case err != nil || in.Error != "":
		visit.About = "directory=refused"
		return send(afterOther, over), nil
	}
	got, err := s.Access.Enter(ctx, who, visit, s.Now())
	switch {
	case errors.Is(err, access.ErrNone):
		visit.About = "directory=unknown"
		return send(afterNobody, over), nil
	case err != nil:
		return nil, notKept(err)
	}
	visit.Who, visit.About = got.Who, "account="+got.Who.Name
	cookies := []string{over, cookie.Set(cookie.Session, got.Key, visit.Secure)}
	if got.Device != "" {
		cookies = append(cookies, cookie.Set(cookie.Device, got.Device, visit.Secure))
	}
	return send(entered, cookies...), nil
}
