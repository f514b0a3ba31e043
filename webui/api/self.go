package api

import (
	"context"
	"time"

	"github.com/danielgtaylor/huma/v2"
)

// A SelfCondition is one thing that the daemon watches of itself.
type SelfCondition struct {
	ID       string     `json:"id" doc:"Its key under self: in the configuration, and the rule of its alert"`
	State    string     `json:"state" enum:"well,beyond,raised,unknown,off" doc:"beyond: its limit, and not for long enough; raised: there is an alert; off: it is not watched here"`
	Value    *float64   `json:"value" doc:"At the newest look"`
	Limit    float64    `json:"limit"`
	Unit     string     `json:"unit" enum:"s,GB,%,d,beats"`
	Above    bool       `json:"above" doc:"Whether it is wrong above the limit, and not below"`
	AfterS   float64    `json:"after_s" doc:"For how long it must be beyond the limit"`
	Priority string     `json:"priority" enum:"low,medium,high"`
	Since    *time.Time `json:"since" doc:"When it was raised"`
	Text     string     `json:"text" doc:"Of the alert; empty without one"`
}

// A Heartbeat is who is told at intervals that the daemon does its work.
type Heartbeat struct {
	Reaches string     `json:"reaches" doc:"Whither, in plain words and without a secret"`
	EveryS  float64    `json:"every_s"`
	State   string     `json:"state" enum:"well,untried,failing,held" doc:"held: the newest beat was held back, as the daemon does not do its work"`
	TakenAt *time.Time `json:"taken_at" doc:"When the newest beat was taken"`
	Trouble string     `json:"trouble" doc:"Why the newest beat was not taken; empty if it was"`
	Since   *time.Time `json:"since" doc:"Of the trouble"`
}

// Self is how the daemon itself is.
type Self struct {
	Conditions []SelfCondition `json:"conditions" nullable:"false"`
	Heartbeats []Heartbeat     `json:"heartbeats" nullable:"false"`
}

func (s *server) addSelf(api huma.API) {
	huma.Register(api, operation("self", "How the daemon itself is: what it watches of itself, and who is told that it lives"),
		func(context.Context, *struct{}) (*answer[Self], error) {
			out := &answer[Self]{Body: Self{Conditions: []SelfCondition{}, Heartbeats: []Heartbeat{}}}
			if s.Self != nil {
				out.Body = s.Self()
			}
			return out, nil
		})
}
