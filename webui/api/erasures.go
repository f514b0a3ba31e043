package api

import (
	"context"
	"errors"

	"github.com/danielgtaylor/huma/v2"

	"weald/stream/access"
)

// ErrNotErased is wrapped by what says why a person cannot be taken out of the record now.
var ErrNotErased = errors.New("nothing was changed")

type erasure struct {
	Body struct {
		Code  string `json:"code" maxLength:"64" doc:"Of the person"`
		Again string `json:"again" maxLength:"64" doc:"The same once more, as it cannot be undone"`
	}
}

type erasureBegun struct {
	Text string `json:"text" doc:"What happens now"`
}

func (s *server) addErasures(api huma.API) {
	huma.Register(api, step("erase-person", "Take a person out of the record for good; the daemon judges nothing meanwhile, and goes on by itself", 409), s.erase)
}

func (s *server) erase(ctx context.Context, in *erasure) (*answer[erasureBegun], error) {
	if err := s.doors(); err != nil {
		return nil, err
	}
	if s.Erase == nil {
		return nil, huma.Error503ServiceUnavailable("nothing is kept, and so there is nothing of anybody: the configuration names no folder for the record")
	}
	b := &in.Body
	if problem := CodeProblem(b.Code); problem != "" {
		return nil, huma.Error422UnprocessableEntity("code: " + problem)
	}
	if b.Again != b.Code {
		return nil, huma.Error422UnprocessableEntity("again: give the code once more, as this cannot be undone")
	}
	access.Of(ctx).About = "person=" + b.Code
	err := s.Erase(ctx, b.Code, access.From(ctx).Author("console"))
	switch {
	case errors.Is(err, ErrNotErased):
		return nil, huma.Error409Conflict(err.Error())
	case err != nil:
		return nil, huma.Error503ServiceUnavailable(err.Error())
	}
	return &answer[erasureBegun]{erasureBegun{"the record is made anew without that person; nothing is watched meanwhile, and the pages come back by themselves"}}, nil
}
