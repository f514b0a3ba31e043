package rehearsal

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"

	"weald/rules"
	"weald/rules/contrast"
	"weald/stream/order"
	"weald/stream/view"
)

// MadeName is the file that a made order consists of.
const MadeName = "result.json"

// A FieldAsk is an order's detail that wants the field of a rule at a place.
type FieldAsk struct {
	Place  int
	Varied *rules.Varied
}

// A RulesAsk is an order's detail that wants other rules beside those in force,
// over all readings of the order's span.
type RulesAsk struct {
	Other *rules.Plan

	// Of is the order of the field whose rule they have with another limit and
	// on-delay, and nothing else; empty for any other rules.
	Of    string
	Rule  string
	Limit float64
	Delay time.Duration
}

// A FieldMade is what a FieldAsk comes to.
type FieldMade struct {
	Signal    string    `json:"signal" doc:"What was judged"`
	Unit      string    `json:"unit"`
	Upper     bool      `json:"upper" doc:"The limit is one not to be above; else one not to be below"`
	Limits    []float64 `json:"limits" nullable:"false" doc:"Ascending; the present one is among them"`
	DelaysS   []float64 `json:"delays_s" nullable:"false" doc:"Ascending; the present one is among them"`
	Raised    [][]int   `json:"raised" nullable:"false" doc:"How many alerts, by limit and then by delay"`
	LimitNow  float64   `json:"limit_now"`
	DelayNowS float64   `json:"delay_now_s"`
	SpanS     float64   `json:"span_s"`
	KnownS    float64   `json:"known_s" doc:"How much of the span had a value that was judged"`
	Low       *float64  `json:"low" doc:"Of what was judged; null where nothing was"`
	High      *float64  `json:"high"`
	Notes     []string  `json:"notes" nullable:"false" doc:"What has to be said beside the numbers"`
}

// A RulesMade is what a RulesAsk comes to.
type RulesMade struct {
	Scans   int             `json:"scans"`
	Before  view.Figures    `json:"before" doc:"Of the rules in force"`
	After   view.Figures    `json:"after" doc:"Of the other rules"`
	Counts  view.Counts     `json:"counts" doc:"Of a field's rule with another limit and delay: of that rule, and of what else differs"`
	Changes []view.Contrast `json:"changes" nullable:"false" doc:"By their begin; of more than 2000 not those that stay, and then the first"`
	Left    int             `json:"left_out" doc:"How many more there are"`
}

// Made is what is in the file of an order: one of the two.
type Made struct {
	Field *FieldMade `json:"field,omitempty"`
	Rules *RulesMade `json:"rules,omitempty"`
}

// MostChanges is how many changes a RulesMade lists.
const MostChanges = 2000

// Sources are what orders are made of.
type Sources struct {
	Plan    *rules.Plan
	Seconds func(place int) Seconds
	// Replay judges the record's readings of a span by each of the plans, and tells
	// how far it has come.
	Replay func(ctx context.Context, plans []*rules.Plan, o Options, tell func(float64)) ([]*Result, []string, error)
}

// Make is an order.Maker.
func (s *Sources) Make(ctx context.Context, a order.Ask, folder string, tell func(float64)) ([]order.File, []string, error) {
	var made Made
	var notes []string
	var err error
	switch d := a.Detail.(type) {
	case FieldAsk:
		made.Field, err = s.field(ctx, a, d, tell)
	case RulesAsk:
		made.Rules, notes, err = s.rules(ctx, a, d, tell)
	default:
		err = fmt.Errorf("an order for %T: nobody makes that", a.Detail)
	}
	if err != nil {
		return nil, nil, err
	}
	b, err := json.Marshal(made)
	if err == nil {
		err = os.WriteFile(filepath.Join(folder, MadeName), b, 0o600)
	}
	return []order.File{{Name: MadeName, Bytes: int64(len(b))}}, notes, err
}

func (s *Sources) field(ctx context.Context, a order.Ask, d FieldAsk, tell func(float64)) (*FieldMade, error) {
	v := d.Varied
	t, err := ReadSeconds(ctx, v, a.From, a.To, s.Seconds(d.Place), func(share float64) { tell(share * 0.6) })
	if err != nil {
		return nil, err
	}
	f, err := FieldOf(ctx, v, &t.Trace, Limits(v, t), Delays(v.Rule.OnDelay), func(share float64) { tell(0.6 + share*0.4) })
	if err != nil {
		return nil, err
	}
	m := &FieldMade{
		Signal: v.Signal, Unit: v.Unit, Upper: v.Upper, Limits: f.Limits, Raised: f.Raised,
		LimitNow: v.Limit, DelayNowS: v.Rule.OnDelay.Seconds(),
		SpanS: t.To.Sub(t.From).Seconds(), KnownS: t.Known.Seconds(), Low: view.Number(t.Low), High: view.Number(t.High),
		Notes: NotesOn(v),
	}
	for _, delay := range f.Delays {
		m.DelaysS = append(m.DelaysS, delay.Seconds())
	}
	return m, nil
}

// NotesOn says what has to be said beside a field of a rule.
func NotesOn(v *rules.Varied) []string {
	notes := []string{"counted from what the record has of every second: shorter peaks and dips are not in it"}
	if v.Peaks {
		notes = append(notes, "the rule judges cell by cell, and this is of the highest cell of "+v.Subject+": the rule itself raises no more often as long as no cell is missing, and where load moves about, less")
	}
	return notes
}

func (s *Sources) rules(ctx context.Context, a order.Ask, d RulesAsk, tell func(float64)) (*RulesMade, []string, error) {
	results, notes, err := s.Replay(ctx, []*rules.Plan{s.Plan, d.Other}, Options{From: a.From, To: a.To}, tell)
	if err != nil {
		return nil, nil, err
	}
	before, after := results[0], results[1]
	changes := Contrast(before, after)
	if d.Of != "" { // what the other rules say is the same twice, and nobody asked
		changes = slices.DeleteFunc(changes, func(c contrast.Change) bool { return c.Kind == contrast.Stays && c.Before.Rule != d.Rule })
	}
	m := &RulesMade{
		Scans: before.Scans, Before: view.FiguresOf(&before.Figures), After: view.FiguresOf(&after.Figures),
		Counts: view.CountsOf(contrast.Count(changes)), Changes: []view.Contrast{},
	}
	listed := changes
	if len(listed) > MostChanges {
		listed = slices.DeleteFunc(slices.Clone(changes), func(c contrast.Change) bool { return c.Kind == contrast.Stays })
	}
	for i := range listed[:min(len(listed), MostChanges)] {
		m.Changes = append(m.Changes, view.ContrastOf(&listed[i]))
	}
	m.Left = len(changes) - len(m.Changes)
	return m, notes, nil
}

// ReadMade reads the file of a made order.
func ReadMade(d *order.Desk, id string) (*Made, error) {
	f, err := d.Open(id, MadeName)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	m := new(Made)
	if err := json.NewDecoder(f).Decode(m); err != nil {
		return nil, fmt.Errorf("rehearsal %s: %w", id, err)
	}
	return m, nil
}
