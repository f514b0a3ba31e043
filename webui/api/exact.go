package api

import (
	"context"
	"fmt"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"weald/stream/order"
	"weald/stream/rehearsal"
	"weald/stream/view"
)

type exactInput struct {
	Rehearsal string `path:"rehearsal" doc:"The id of a field"`
	Body      struct {
		Limit  float64 `json:"limit"`
		DelayS float64 `json:"delay_s" minimum:"0" maximum:"31536000"`
	}
}

// A judged is what every reading said of a proposal.
type judged struct {
	Scans  int         `json:"scans" doc:"How many were judged, of all places"`
	Counts view.Counts `json:"counts" doc:"Of the rule at all its places, and of what else differs"`
}

func (s *server) addExact(api huma.API) {
	huma.Register(api, noted("rehearse-exactly",
		"Judge every reading of a field's span, of all places, by the rules in force and by the same with another limit and delay", 404, 409), s.exact)
}

// exact asks for a rehearsal of a field's rule with another limit and delay, which
// goes over all readings and not over what was kept of every second.
func (s *server) exact(_ context.Context, in *exactInput) (*answer[rehearsalView], error) {
	b := &in.Body
	o, d, err := s.fieldOf(in.Rehearsal, b.Limit)
	if err != nil {
		return nil, err
	}
	delay := time.Duration(b.DelayS * float64(time.Second))
	yaml, err := s.Rehearse.Proposal(d.Varied.Rule.ID, d.Varied.Upper, b.Limit, delay)
	if err != nil {
		return nil, huma.Error422UnprocessableEntity(err.Error())
	}
	other, err := s.Rehearse.Rules(yaml)
	if err != nil {
		return nil, huma.Error422UnprocessableEntity("rules: " + err.Error())
	}
	return s.order(order.Ask{From: o.Ask.From, To: o.Ask.To, Detail: rehearsal.RulesAsk{
		Other: merged(s.Plan, other), Of: o.ID, Rule: d.Varied.Rule.ID, Limit: b.Limit, Delay: delay,
	}})
}

// fieldOf returns the order of a field that may be judged with a limit.
func (s *server) fieldOf(id string, limit float64) (*order.Order, rehearsal.FieldAsk, error) {
	none := rehearsal.FieldAsk{}
	stage, err := s.stage()
	if err != nil {
		return nil, none, err
	}
	o, err := stage.Desk.Get(id)
	if err != nil {
		return nil, none, huma.Error404NotFound(fmt.Sprintf("there is no rehearsal %q", id))
	}
	d, ok := o.Ask.Detail.(rehearsal.FieldAsk)
	if !ok {
		return nil, none, huma.Error422UnprocessableEntity("only a field has limits and delays")
	}
	if !d.Varied.Possible(limit) {
		return nil, none, huma.Error422UnprocessableEntity("limit: it must be above the rule's lower one")
	}
	return &o, d, nil
}

// exactOf returns what an exact rehearsal came to that is of a field with a limit and
// a delay; nil for no id.
func (s *server) exactOf(id string, field *order.Order, limit float64, delay time.Duration) (*judged, error) {
	if id == "" {
		return nil, nil
	}
	o, err := s.Rehearse.Desk.Get(id)
	if err != nil {
		return nil, huma.Error404NotFound(fmt.Sprintf("exact: there is no rehearsal %q", id))
	}
	d, ok := o.Ask.Detail.(rehearsal.RulesAsk)
	if !ok || d.Of != field.ID || d.Limit != limit || d.Delay != delay || o.State != order.Made {
		return nil, huma.Error422UnprocessableEntity(fmt.Sprintf("exact: rehearsal %q is not one of this limit and delay that is made", id))
	}
	made, err := rehearsal.ReadMade(s.Rehearse.Desk, id)
	if err != nil {
		return nil, huma.Error503ServiceUnavailable(err.Error())
	}
	return &judged{Scans: made.Rules.Scans, Counts: made.Rules.Counts}, nil
}
