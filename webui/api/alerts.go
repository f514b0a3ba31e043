package api

import (
	"context"
	"errors"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"weald/rules"
	"weald/rules/alert"
	"weald/stream/pipeline"
	"weald/stream/view"
)

type alertsBody struct {
	Alerts []view.Alert `json:"alerts" nullable:"false" doc:"The open ones, most pressing first, then those that were over within the last 12 hours and not acknowledged, those that are put aside, and those that were done with within the last hour"`
}

type alertsInput struct {
	State []string `query:"state" enum:"normal,unacknowledged,acknowledged,returned-unacknowledged,latched,shelved,suppressed,out-of-service" doc:"Only alerts in these states, separated by commas"`
	Place string   `query:"place" doc:"Only alerts of this place"`
}

type deedInput struct {
	Alert string `path:"alert" doc:"The alert's id"`
	Body  struct {
		Code   string `json:"code,omitempty" maxLength:"200" doc:"Who does it, as a person's code such as K-07; known by itself where there are accounts. What looks like a name is refused"`
		Reason string `json:"reason,omitempty" maxLength:"1000" doc:"In that person's words. No names"`
	}
}

type reasonedInput struct {
	Alert string `path:"alert" doc:"The alert's id"`
	Body  struct {
		Code   string `json:"code,omitempty" maxLength:"200" doc:"Who does it, as a person's code such as K-07; known by itself where there are accounts"`
		Reason string `json:"reason" minLength:"1" maxLength:"1000" doc:"In that person's words. No names"`
	}
}

type shelveInput struct {
	Alert string `path:"alert" doc:"The alert's id"`
	Body  struct {
		Code   string    `json:"code,omitempty" maxLength:"200" doc:"Who does it, as a person's code such as K-07; known by itself where there are accounts"`
		Reason string    `json:"reason" minLength:"1" maxLength:"1000" doc:"In that person's words. No names"`
		ForS   float64   `json:"for_s,omitempty" exclusiveMinimum:"0" maximum:"28800" doc:"For how many seconds, at most 8 hours. Either this or until"`
		Until  time.Time `json:"until,omitempty" doc:"Until when, on the daemon's clock. Either this or for_s"`
	}
}

func (s *server) addAlerts(api huma.API) {
	huma.Register(api, operation("alerts", "Alerts that are open, put aside, over and not acknowledged within the last 12 hours, or done with within the last hour", 422), s.alerts)
	for _, d := range []struct {
		verb    alert.Verb
		summary string
	}{
		{alert.Acknowledge, "Take an alert on. It is measured on"},
		{alert.Unshelve, "Unshelve an alert"},
		{alert.TakeBack, "Take an alert back into service"},
	} {
		huma.Register(api, done(d.verb, d.summary), func(ctx context.Context, in *deedInput) (*answer[view.Alert], error) {
			return s.act(ctx, in.Alert, pipeline.Deed{Verb: d.verb, Who: in.Body.Code, Why: in.Body.Reason})
		})
	}
	huma.Register(api, done(alert.TakeOut, "Take an alert out of service, until somebody takes it back"), func(ctx context.Context, in *reasonedInput) (*answer[view.Alert], error) {
		if err := reasoned(in.Body.Reason); err != nil {
			return nil, err
		}
		return s.act(ctx, in.Alert, pipeline.Deed{Verb: alert.TakeOut, Who: in.Body.Code, Why: in.Body.Reason})
	})
	huma.Register(api, done(alert.Shelve, "Put an alert aside for a while, at most 8 hours. It is measured on, and nobody is called"), s.shelve)
	s.addAlertHistory(api)
}

// done describes a POST route for what a person does with an alert.
func done(verb alert.Verb, summary string) huma.Operation {
	return step(string(verb), summary+"; where there is a record, it is on the disk when this is answered", http.StatusNotFound, http.StatusConflict)
}

func (s *server) alerts(ctx context.Context, in *alertsInput) (*answer[alertsBody], error) {
	var all []view.Alert
	if err := s.ask(ctx, func(st *pipeline.State) { all = st.Alerts() }); err != nil {
		return nil, err
	}
	var a answer[alertsBody]
	a.Body.Alerts = slices.DeleteFunc(all, func(one view.Alert) bool {
		return len(in.State) > 0 && !slices.Contains(in.State, one.State) || in.Place != "" && one.Place != in.Place
	})
	return &a, nil
}

func (s *server) shelve(ctx context.Context, in *shelveInput) (*answer[view.Alert], error) {
	if err := reasoned(in.Body.Reason); err != nil {
		return nil, err
	}
	lasting := time.Duration(in.Body.ForS * float64(time.Second))
	switch until := in.Body.Until; {
	case until.IsZero() == (lasting == 0):
		return nil, huma.Error422UnprocessableEntity("say for how long: for_s or until, one of them")
	case lasting == 0:
		var now time.Time
		if err := s.ask(ctx, func(st *pipeline.State) { now = st.Now().Time() }); err != nil {
			return nil, err
		}
		if lasting = until.Sub(now); lasting <= 0 || lasting > alert.LongestShelf {
			return nil, huma.Error422UnprocessableEntity("until: an alert can be shelved for 8 hours at most from now, " + now.Format(time.RFC3339))
		}
	}
	return s.act(ctx, in.Alert, pipeline.Deed{Verb: alert.Shelve, Who: in.Body.Code, Why: in.Body.Reason, For: lasting})
}

func reasoned(why string) error {
	if strings.TrimSpace(why) == "" {
		return huma.Error422UnprocessableEntity("reason: say why, so that the next one who looks at it knows")
	}
	return nil
}

// act does it, and says why if it cannot be done.
func (s *server) act(ctx context.Context, id string, d pipeline.Deed) (*answer[view.Alert], error) {
	if err := s.sign(ctx, "code", &d.Who); err != nil {
		return nil, err
	}
	if err := wordsError("reason", d.Why); err != nil {
		return nil, err
	}
	k, ok := alert.ParseKey(id)
	if !ok {
		return nil, huma.Error404NotFound("there is no alert " + id)
	}
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	a, err := s.Pipeline.Act(ctx, k, d)
	switch {
	case errors.Is(err, rules.ErrNoAlert):
		return nil, huma.Error404NotFound("there is no alert " + id)
	case errors.Is(err, alert.ErrRefused):
		return nil, huma.Error409Conflict(strings.TrimSuffix(err.Error(), ": "+alert.ErrRefused.Error()))
	case err != nil:
		return nil, deedError(err)
	}
	return &answer[view.Alert]{a}, nil
}
