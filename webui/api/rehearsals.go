package api

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"weald/rules"
	"weald/rules/contrast"
	"weald/stream/order"
	"weald/stream/rehearsal"
	"weald/stream/view"
)

// A Stage is where rules are rehearsed over what the daemon has kept.
type Stage struct {
	Desk    *order.Desk // makes what rehearsal.Sources makes
	Seconds func(place int) rehearsal.Seconds

	// Rules reads rules for the places of the plan; problems are in plain words, a
	// line each.
	Rules func(text string) (*rules.Plan, error)
	// Proposal writes a rule of the configuration with another limit and delay.
	Proposal func(rule string, upper bool, limit float64, delay time.Duration) (string, error)
}

type rehearsalView struct {
	ID    string      `json:"id"`
	Kind  string      `json:"kind" enum:"field,rules" doc:"field: alerts by limit and on-delay of one rule at one place; rules: other rules beside those in force"`
	Place string      `json:"place" doc:"Empty for all places"`
	Rule  string      `json:"rule" doc:"Of a field"`
	Of    string      `json:"of" doc:"Of rules: the field whose rule they have with another limit and delay; else empty"`
	From  time.Time   `json:"from"`
	To    time.Time   `json:"to"`
	State order.State `json:"state" enum:"waiting,making,made,stopped,failed"`
	Share float64     `json:"share" minimum:"0" maximum:"1" doc:"How far it has come; never goes back"`
	Notes []string    `json:"notes" nullable:"false" doc:"What could not be read"`
	Why   string      `json:"why" doc:"Why it failed"`

	Field  *rehearsal.FieldMade `json:"field,omitempty" doc:"Of a field that is made, where one is asked for"`
	Result *rehearsal.RulesMade `json:"result,omitempty" doc:"Of rules that are made, where one is asked for"`
}

type rehearsalsBody struct {
	Rehearsals []rehearsalView `json:"rehearsals" nullable:"false" doc:"The one that was asked for last comes first"`
}

type newRehearsal struct {
	Body struct {
		Place string    `json:"place,omitempty" maxLength:"64" doc:"Of a field: the place's id in the configuration"`
		Rule  string    `json:"rule,omitempty" maxLength:"64" doc:"Of a field: a rule with a limit that is for that place"`
		Rules string    `json:"rules,omitempty" maxLength:"1000000" doc:"YAML with rules, to be laid beside those in force, instead of place and rule"`
		Merge bool      `json:"merge,omitempty" doc:"The given rules take the place of those with the same ids; the others in force go on"`
		From  time.Time `json:"from"`
		To    time.Time `json:"to"`
	}
}

type rehearsalInput struct {
	Rehearsal string `path:"rehearsal" doc:"The rehearsal's id"`
}

type besideInput struct {
	Rehearsal string  `path:"rehearsal" doc:"The id of a field"`
	Limit     float64 `query:"limit" required:"true"`
	DelayS    float64 `query:"delay_s" required:"true" minimum:"0" maximum:"31536000"`
}

type besideBody struct {
	Limit   float64         `json:"limit"`
	DelayS  float64         `json:"delay_s"`
	Before  int             `json:"before" doc:"How many alerts the rule as it is raises"`
	After   int             `json:"after"`
	Counts  view.Counts     `json:"counts"`
	Changes []view.Contrast `json:"changes" nullable:"false" doc:"The first of them, by their begin"`
	Left    int             `json:"left_out" doc:"How many more there are"`
}

func (s *server) addRehearsals(api huma.API) {
	huma.Register(api, operation("rehearsals", "Rehearsals of this daemon: those being made, and the newest that were"), s.listRehearsals)
	huma.Register(api, noted("rehearse", "Ask what other rules would have raised over what is kept", 404, 409), s.rehearse)
	huma.Register(api, operation("rehearsal", "How far a rehearsal has come, and what it found", 404), s.oneRehearsal)
	huma.Register(api, step("stop-rehearsal", "Stop a rehearsal", 404), s.stopRehearsal)
	huma.Register(api, operation("rehearsed-alerts", "Which alerts come and which go with one limit and delay of a field", 404, 422), s.beside)
	s.addExact(api)
	s.addProposals(api)
}

// stage returns where rules are rehearsed, or an error where nothing is kept.
func (s *server) stage() (*Stage, error) {
	if s.Rehearse == nil {
		return nil, huma.Error503ServiceUnavailable("nothing can be rehearsed: the configuration names no folder for the record; give it data: and a folder")
	}
	return s.Rehearse, nil
}

func (s *server) listRehearsals(context.Context, *struct{}) (*answer[rehearsalsBody], error) {
	stage, err := s.stage()
	if err != nil {
		return nil, err
	}
	a := &answer[rehearsalsBody]{Body: rehearsalsBody{Rehearsals: []rehearsalView{}}}
	for _, o := range stage.Desk.All() {
		a.Body.Rehearsals = append(a.Body.Rehearsals, rehearsalOf(&o))
	}
	return a, nil
}

func (s *server) rehearse(_ context.Context, in *newRehearsal) (*answer[rehearsalView], error) {
	stage, err := s.stage()
	if err != nil {
		return nil, err
	}
	b := &in.Body
	var ask order.Ask
	if ask.From, err = instantOf(b.From); err != nil {
		return nil, err
	}
	if ask.To, err = instantOf(b.To); err != nil {
		return nil, err
	}
	switch {
	case ask.From >= ask.To:
		return nil, huma.Error422UnprocessableEntity("to: it must be after from")
	case b.Rules != "" && b.Rule != "":
		return nil, huma.Error422UnprocessableEntity("rules: give either rules, or a place and a rule")
	case b.Rules != "":
		other, err := stage.Rules(b.Rules)
		if err != nil {
			return nil, huma.Error422UnprocessableEntity("rules: " + err.Error())
		}
		if b.Merge {
			other = merged(s.Plan, other)
		}
		ask.Detail = rehearsal.RulesAsk{Other: other}
	default:
		if ask.Detail, err = s.fieldAsk(b.Place, b.Rule); err != nil {
			return nil, err
		}
		if ask.To.Sub(ask.From) > rehearsal.LongestField {
			return nil, huma.Error422UnprocessableEntity("from: a field is of at most 31 days")
		}
		ask.Place = b.Place
	}
	return s.order(ask)
}

// order places an order.
func (s *server) order(ask order.Ask) (*answer[rehearsalView], error) {
	o, err := s.Rehearse.Desk.Place(ask)
	if err != nil {
		return nil, huma.Error409Conflict(err.Error() + ": wait for one of them, or stop it")
	}
	return &answer[rehearsalView]{rehearsalOf(&o)}, nil
}

// merged is the plan with the rules of another in the place of its own that have
// the same ids, and those that are new after them.
func merged(plan, with *rules.Plan) *rules.Plan {
	out := *plan
	out.Rules = append([]rules.Rule{}, plan.Rules...)
	for _, r := range with.Rules {
		if i := ruleNamed(&out, r.ID); i >= 0 {
			out.Rules[i] = r
		} else {
			out.Rules = append(out.Rules, r)
		}
	}
	return &out
}

func ruleNamed(plan *rules.Plan, id string) int {
	for i := range plan.Rules {
		if plan.Rules[i].ID == id {
			return i
		}
	}
	return -1
}

func (s *server) fieldAsk(place, rule string) (rehearsal.FieldAsk, error) {
	i, err := s.place(place)
	if err != nil {
		return rehearsal.FieldAsk{}, err
	}
	k := ruleNamed(s.Plan, rule)
	if k < 0 {
		return rehearsal.FieldAsk{}, huma.Error404NotFound(fmt.Sprintf("there is no rule %q", rule))
	}
	v, err := s.Plan.Places[i].Vary(&s.Plan.Rules[k])
	if err != nil {
		return rehearsal.FieldAsk{}, huma.Error422UnprocessableEntity(err.Error())
	}
	return rehearsal.FieldAsk{Place: i, Varied: v}, nil
}

func (s *server) oneRehearsal(_ context.Context, in *rehearsalInput) (*answer[rehearsalView], error) {
	return s.rehearsalBy(in.Rehearsal, (*order.Desk).Get)
}

func (s *server) stopRehearsal(_ context.Context, in *rehearsalInput) (*answer[rehearsalView], error) {
	return s.rehearsalBy(in.Rehearsal, (*order.Desk).Stop)
}

func (s *server) rehearsalBy(id string, f func(*order.Desk, string) (order.Order, error)) (*answer[rehearsalView], error) {
	stage, err := s.stage()
	if err != nil {
		return nil, err
	}
	o, err := f(stage.Desk, id)
	if err != nil {
		return nil, huma.Error404NotFound(fmt.Sprintf("there is no rehearsal %q", id))
	}
	a := &answer[rehearsalView]{rehearsalOf(&o)}
	if o.State == order.Made {
		made, err := rehearsal.ReadMade(stage.Desk, id)
		if errors.Is(err, order.ErrNone) { // it went between the two looks
			return nil, huma.Error404NotFound(fmt.Sprintf("there is no rehearsal %q", id))
		} else if err != nil {
			return nil, huma.Error503ServiceUnavailable(err.Error())
		}
		a.Body.Field, a.Body.Result = made.Field, made.Rules
	}
	return a, nil
}

func rehearsalOf(o *order.Order) rehearsalView {
	v := rehearsalView{
		ID: o.ID, Kind: "rules", Place: o.Ask.Place, From: o.Ask.From.Time(), To: o.Ask.To.Time(),
		State: o.State, Share: o.Share, Why: o.Why, Notes: append([]string{}, o.Notes...),
	}
	switch d := o.Ask.Detail.(type) {
	case rehearsal.FieldAsk:
		v.Kind, v.Rule = "field", d.Varied.Rule.ID
	case rehearsal.RulesAsk:
		v.Of = d.Of
	}
	return v
}

// listedAlerts is how many alerts are shown beside each other at most.
const listedAlerts = 500

func (s *server) beside(ctx context.Context, in *besideInput) (*answer[besideBody], error) {
	delay := time.Duration(in.DelayS * float64(time.Second))
	changes, _, err := s.besides(ctx, in.Rehearsal, in.Limit, delay)
	if err != nil {
		return nil, err
	}
	n := contrast.Count(changes)
	b := besideBody{
		Limit: in.Limit, DelayS: in.DelayS, Before: n.Goes + n.Moves + n.Stays, After: n.Comes + n.Moves + n.Stays,
		Counts: view.CountsOf(n), Changes: []view.Contrast{}, Left: max(0, len(changes)-listedAlerts),
	}
	for i := range changes[:min(len(changes), listedAlerts)] {
		c := view.ContrastOf(&changes[i])
		b.Changes = append(b.Changes, c)
	}
	return &answer[besideBody]{b}, nil
}

// besides lays the rule of a field beside itself with another limit and delay.
func (s *server) besides(ctx context.Context, id string, limit float64, delay time.Duration) ([]contrast.Change, *order.Order, error) {
	o, d, err := s.fieldOf(id, limit)
	if err != nil {
		return nil, nil, err
	}
	t, err := s.trace(ctx, s.Rehearse, o, d)
	if err != nil {
		return nil, nil, huma.Error503ServiceUnavailable("the record cannot be read: " + err.Error())
	}
	return rehearsal.Beside(d.Varied, &t.Trace, limit, delay), o, nil
}

// trace reads what a field was made of, or has it still from the last time: a
// limit that is dragged asks for it many times.
func (s *server) trace(ctx context.Context, stage *Stage, o *order.Order, d rehearsal.FieldAsk) (*rehearsal.Second, error) {
	s.traces.Lock()
	defer s.traces.Unlock()
	if s.traced == o.ID {
		return s.seen, nil
	}
	t, err := rehearsal.ReadSeconds(ctx, d.Varied, o.Ask.From, o.Ask.To, stage.Seconds(d.Place), func(float64) {})
	if err == nil {
		s.traced, s.seen = o.ID, t
	}
	return t, err
}
