package view

import (
	"time"

	"weald/rules/contrast"
)

// An Episode is one alert from being raised to being cleared, in a rehearsal.
type Episode struct {
	Subject   string     `json:"subject"`
	Priority  string     `json:"priority" enum:"low,medium,high"`
	RaisedAt  time.Time  `json:"raised_at"`
	ClearedAt *time.Time `json:"cleared_at" doc:"null where it stands at the end"`
	Value     *float64   `json:"value" doc:"When it was raised"`
	Unit      string     `json:"unit"`
	Text      string     `json:"text"`
	Quiet     bool       `json:"quiet" doc:"It chatters: live, nobody would be told of this one"`
}

// A Contrast is what becomes of one alert under other rules.
type Contrast struct {
	Change string   `json:"change" enum:"comes,goes,moves,stays" doc:"With the other rules it comes, goes, moves, or stays as it is"`
	Place  string   `json:"place"`
	Rule   string   `json:"rule"`
	Before *Episode `json:"before" doc:"null for one that comes"`
	After  *Episode `json:"after" doc:"null for one that goes"`
}

// ContrastOf is the view of a change.
func ContrastOf(c *contrast.Change) Contrast {
	v := Contrast{Change: string(c.Kind), Before: episodeOf(c.Before), After: episodeOf(c.After)}
	e := c.Before
	if e == nil {
		e = c.After
	}
	v.Place, v.Rule = e.Place, e.Rule
	return v
}

func episodeOf(e *contrast.Episode) *Episode {
	if e == nil {
		return nil
	}
	v := &Episode{
		Subject: e.Subject, Priority: e.Priority.String(), RaisedAt: e.From.Time(),
		Value: Measured(e.Value), Unit: e.Unit, Text: e.Text, Quiet: e.Quiet,
	}
	if !e.Stands {
		v.ClearedAt = Moment(e.To)
	}
	return v
}

// Counts says how many alerts there are of each kind.
type Counts struct {
	Comes int `json:"comes"`
	Goes  int `json:"goes"`
	Moves int `json:"moves"`
	Stays int `json:"stays"`
}

// CountsOf is the view of counts.
func CountsOf(n contrast.Counts) Counts { return Counts(n) }
