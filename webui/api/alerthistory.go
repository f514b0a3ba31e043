package api

import (
	"cmp"
	"context"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/rules/tuning"
	"weald/stream/journal"
	"weald/stream/pipeline"
	"weald/stream/record"
	"weald/stream/view"
)

// How far back the figures look by themselves, and how far before that for alerts
// that already stood.
const (
	figuresOver   = 24 * time.Hour
	figuresBefore = 2 * tuning.StandingLong
)

type change struct {
	Position   uint64     `json:"position" doc:"Ascends in the order in which changes were kept"`
	At         time.Time  `json:"at" doc:"The exact instant, in the place's event time"`
	ID         string     `json:"id" doc:"The alert's"`
	Place      string     `json:"place"`
	Rule       string     `json:"rule"`
	Subject    string     `json:"subject"`
	What       string     `json:"what" doc:"raised, cleared, acknowledged, shelved, …"`
	State      string     `json:"state" doc:"After the change; empty in records from before alerts had states"`
	Priority   string     `json:"priority"`
	Value      *float64   `json:"value"`
	U          *float64   `json:"u"`
	Limit      *float64   `json:"limit"`
	Unit       string     `json:"unit"`
	Tier       int        `json:"tier"`
	Chattering bool       `json:"chattering"`
	Quiet      bool       `json:"quiet" doc:"It chatters: nobody was told of this change"`
	By         string     `json:"by" doc:"A person's code"`
	Reason     string     `json:"reason"`
	Until      *time.Time `json:"until"`
	Text       string     `json:"text"`
}

type changesInput struct {
	Alert  string    `query:"alert" doc:"Only changes of the alert with this id"`
	Place  string    `query:"place" doc:"Only changes at this place"`
	From   time.Time `query:"from" doc:"Changes of this instant and later"`
	To     time.Time `query:"to" doc:"Changes before this instant"`
	Quiet  bool      `query:"quiet" doc:"Also those of which nobody was told, as the alert chattered"`
	Newest int       `query:"newest" default:"200" minimum:"1" maximum:"5000" doc:"How many at most, those that were kept last"`
}

type changesBody struct {
	Changes []change `json:"changes" nullable:"false" doc:"The newest first"`
}

type figuresInput struct {
	From time.Time `query:"from" doc:"Without it, 24 hours before the end, or when the record began"`
	To   time.Time `query:"to" doc:"Now without it"`
}

type figuresBody struct {
	From time.Time `json:"from"`
	To   time.Time `json:"to"`
	view.Figures
}

func (s *server) addAlertHistory(api huma.API) {
	huma.Register(api, operation("alert-changes", "Everything that happened to alerts, and what people did about them", 422), s.changes)
	huma.Register(api, operation("alert-figures", "The tuning figures of IEC 62682 over a span of time", 422), s.figures)
}

func (s *server) changes(ctx context.Context, in *changesInput) (*answer[changesBody], error) {
	if err := s.recording(); err != nil {
		return nil, err
	}
	q := journal.Query{Kinds: []record.Kind{record.KindTransition}, Place: in.Place, Newest: true}
	var err error
	for _, bound := range []struct {
		t  time.Time
		to *sample.Instant
	}{{in.From, &q.Since}, {in.To, &q.Until}} {
		if bound.t.IsZero() {
			continue
		}
		if *bound.to, err = instantOf(bound.t); err != nil {
			return nil, err
		}
	}
	a := &answer[changesBody]{Body: changesBody{Changes: []change{}}}
	err = s.entries(ctx, q, func(e *record.Entry) bool {
		v := e.Body.(record.Transition).Event
		if (in.Alert == "" || v.ID() == in.Alert) && (in.Quiet || !v.Quiet) {
			a.Body.Changes = append(a.Body.Changes, changeOf(e.Position, &v))
		}
		return len(a.Body.Changes) < in.Newest
	})
	return a, err
}

func changeOf(p record.Position, e *alert.Event) change {
	c := change{
		Position: uint64(p), At: e.At.Time(), ID: e.ID(), Place: e.Place, Rule: e.Rule, Subject: e.Subject,
		What: string(e.What), State: string(e.State), Priority: e.Priority.String(),
		Value: view.Reached(e.Value, e.Limit), U: view.Measured(e.U), Limit: view.Number(e.Limit), Unit: e.Unit,
		Tier: e.Tier, Chattering: e.Chattering, Quiet: e.Quiet, By: e.Who, Reason: e.Why, Text: e.Text,
	}
	if e.Until != 0 {
		c.Until = view.Moment(e.Until)
	}
	return c
}

func (s *server) figures(ctx context.Context, in *figuresInput) (*answer[figuresBody], error) {
	if err := s.recording(); err != nil {
		return nil, err
	}
	var now sample.Instant
	var open []view.Alert
	if err := s.ask(ctx, func(st *pipeline.State) { now, open = st.Now(), st.Alerts() }); err != nil {
		return nil, err
	}
	from, to, err := span(in.From, in.To, now)
	if err != nil {
		return nil, err
	}
	if in.From.IsZero() { // a young record is no day without alerts
		if err := s.entries(ctx, journal.Query{}, func(e *record.Entry) bool { from = max(from, min(e.At, to-1)); return false }); err != nil {
			return nil, err
		}
	}
	since := from.Add(-figuresBefore)
	var events []alert.Event
	err = s.entries(ctx, journal.Query{Kinds: []record.Kind{record.KindTransition}, Since: since, Until: to}, func(e *record.Entry) bool {
		events = append(events, e.Body.(record.Transition).Event)
		return true
	})
	if err != nil {
		return nil, err
	}
	for i := range open { // what has stood since long before
		a := &open[i]
		if k, ok := alert.ParseKey(a.ID); ok && a.Standing() && sample.At(*a.RaisedAt) < since {
			events = append(events, alert.Event{Key: k, What: alert.Raised, At: sample.At(*a.RaisedAt), State: alert.State(a.State)})
		}
	}
	slices.SortStableFunc(events, func(a, b alert.Event) int { return cmp.Compare(a.At, b.At) })
	f := tuning.Compute(events, len(s.Plan.Places), from, to)
	return &answer[figuresBody]{figuresBody{From: from.Time(), To: to.Time(), Figures: view.FiguresOf(&f)}}, nil
}

// span makes the bounds of the figures.
func span(from, to time.Time, now sample.Instant) (a, b sample.Instant, err error) {
	b = now
	if !to.IsZero() {
		if b, err = instantOf(to); err != nil {
			return 0, 0, err
		}
	}
	a = b.Add(-figuresOver)
	if !from.IsZero() {
		if a, err = instantOf(from); err != nil {
			return 0, 0, err
		}
	}
	if a >= b {
		return 0, 0, huma.Error422UnprocessableEntity("from must be before to")
	}
	return a, b, nil
}
