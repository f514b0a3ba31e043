package api

import (
	"context"

	"github.com/danielgtaylor/huma/v2"
)

// A Leaving is one way on which something leaves this machine by itself.
type Leaving struct {
	By   string `json:"by" doc:"What of the configuration asks for it"`
	To   string `json:"to" doc:"Whither, without a secret"`
	Kind string `json:"kind" enum:"alerts,beats,directory,record,asks" doc:"alerts that stand; beats that tell that the daemon works; that somebody wants to log in; the whole record; what it takes to ask for readings"`
	What string `json:"what" doc:"What it has of places and people"`
}

type leavesBody struct {
	Leaves []Leaving `json:"leaves" nullable:"false" doc:"All ways that there are; none by default"`
}

func (s *server) addLeaves(api huma.API) {
	huma.Register(api, operation("leaves", "What leaves this machine by itself, and whither"),
		func(context.Context, *struct{}) (*answer[leavesBody], error) {
			return &answer[leavesBody]{Body: leavesBody{Leaves: append([]Leaving{}, s.Leaves...)}}, nil
		})
}
