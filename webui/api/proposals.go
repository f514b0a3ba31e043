package api

import (
	"context"
	"encoding/json"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"weald/rules/contrast"
	"weald/stream/journal"
	"weald/stream/record"
	"weald/stream/rehearsal"
	"weald/stream/view"
)

// proposed is what a person did who keeps a rule as a proposal, as the record
// writes it.
const proposed = "proposed"

// An evidence is what a proposal rests on.
type evidence struct {
	Place   string      `json:"place"`
	Rule    string      `json:"rule"`
	Signal  string      `json:"signal"`
	Unit    string      `json:"unit"`
	From    time.Time   `json:"from"`
	To      time.Time   `json:"to"`
	KnownS  float64     `json:"known_s" doc:"How much of the span had a value that was judged"`
	Config  uint64      `json:"config" doc:"The version of the configuration in force"`
	Limit   [2]float64  `json:"limit" nullable:"false" doc:"Before and after"`
	DelayS  [2]float64  `json:"delay_s" nullable:"false" doc:"Before and after"`
	Alerts  [2]int      `json:"alerts" nullable:"false" doc:"Before and after"`
	Counts  view.Counts `json:"counts"`
	Exactly *judged     `json:"exactly,omitempty" doc:"What every reading said, where somebody had it judged"`
	Notes   []string    `json:"notes" nullable:"false" doc:"What has to be said beside the numbers"`
	Caution string      `json:"caution"`
}

const proposalCaution = "A rule that was quiet on a recording is not thereby safe. It changes nothing by itself: local policy and the responsible clinician decide, and the configuration file stays the truth."

// A KeptProposal is what the record has of a proposal beside who, when and why.
type KeptProposal struct {
	YAML     string   `json:"yaml" doc:"The rule, to be put in the place of the one in the configuration"`
	Evidence evidence `json:"evidence"`
}

type proposal struct {
	ID     uint64    `json:"id"`
	At     time.Time `json:"at"`
	Author string    `json:"author" doc:"A person's code"`
	Why    string    `json:"why"`
	KeptProposal
}

type proposalsBody struct {
	Proposals []proposal `json:"proposals" nullable:"false" doc:"The newest first"`
}

type newProposal struct {
	Rehearsal string `path:"rehearsal" doc:"The id of a field that is made"`
	Body      struct {
		Limit  float64 `json:"limit"`
		DelayS float64 `json:"delay_s" minimum:"0" maximum:"31536000"`
		Exact  string  `json:"exact,omitempty" maxLength:"64" doc:"The id of an exact rehearsal of this limit and delay, to be kept with it"`
		Author string  `json:"author,omitempty" maxLength:"64" doc:"The code of the person who proposes it; known by itself where there are accounts"`
		Why    string  `json:"why,omitempty" maxLength:"4000" doc:"No names"`
	}
}

func (s *server) addProposals(api huma.API) {
	huma.Register(api, operation("proposals", "Rules that people have proposed, with what they rest on"), s.listProposals)
	huma.Register(api, noted("propose", "Keep a limit and a delay of a field as a proposal; it is on the disk when this is answered, and changes no rule", 404), s.propose)
}

func (s *server) propose(ctx context.Context, in *newProposal) (*answer[proposal], error) {
	if err := s.recording(); err != nil {
		return nil, err
	}
	b := &in.Body
	if err := s.sign(ctx, "author", &b.Author); err != nil {
		return nil, err
	}
	delay := time.Duration(b.DelayS * float64(time.Second))
	changes, o, err := s.besides(ctx, in.Rehearsal, b.Limit, delay)
	if err != nil {
		return nil, err
	}
	exact, err := s.exactOf(b.Exact, o, b.Limit, delay)
	if err != nil {
		return nil, err
	}
	d := o.Ask.Detail.(rehearsal.FieldAsk)
	v := d.Varied
	yaml, err := s.Rehearse.Proposal(v.Rule.ID, v.Upper, b.Limit, delay)
	if err != nil {
		return nil, huma.Error422UnprocessableEntity(err.Error())
	}
	t, err := s.trace(ctx, s.Rehearse, o, d)
	if err != nil {
		return nil, huma.Error503ServiceUnavailable("the record cannot be read: " + err.Error())
	}
	n := contrast.Count(changes)
	kept := KeptProposal{YAML: yaml, Evidence: evidence{
		Place: o.Ask.Place, Rule: v.Rule.ID, Signal: v.Signal, Unit: v.Unit, From: t.From.Time(), To: t.To.Time(),
		KnownS: t.Known.Seconds(), Config: s.Config, Limit: [2]float64{v.Limit, b.Limit},
		DelayS: [2]float64{v.Rule.OnDelay.Seconds(), b.DelayS},
		Alerts: [2]int{n.Goes + n.Moves + n.Stays, n.Comes + n.Moves + n.Stays}, Counts: view.CountsOf(n),
		Exactly: exact, Notes: rehearsal.NotesOn(v), Caution: proposalCaution,
	}}
	text, err := json.Marshal(kept)
	if err != nil {
		return nil, huma.Error422UnprocessableEntity(err.Error())
	}
	at, err := s.when(ctx, d.Place, time.Time{})
	if err != nil {
		return nil, err
	}
	position, err := s.note(ctx, record.Entry{At: at, Place: o.Ask.Place, Author: b.Author,
		Body: record.Action{What: proposed, Subject: "rule " + v.Rule.ID, Reason: b.Why, Text: string(text)}})
	if err != nil {
		return nil, err
	}
	return &answer[proposal]{proposal{ID: uint64(position), At: at.Time(), Author: b.Author, Why: b.Why, KeptProposal: kept}}, nil
}

// listedProposals is how many are listed at most.
const listedProposals = 100

func (s *server) listProposals(ctx context.Context, _ *struct{}) (*answer[proposalsBody], error) {
	if err := s.recording(); err != nil {
		return nil, err
	}
	a := &answer[proposalsBody]{Body: proposalsBody{Proposals: []proposal{}}}
	err := s.entries(ctx, journal.Query{Kinds: []record.Kind{record.KindAction}, Newest: true}, func(e *record.Entry) bool {
		b := e.Body.(record.Action)
		p := proposal{ID: uint64(e.Position), At: e.At.Time(), Author: e.Author, Why: b.Reason}
		if b.What == proposed && json.Unmarshal([]byte(b.Text), &p.KeptProposal) == nil {
			a.Body.Proposals = append(a.Body.Proposals, p)
		}
		return len(a.Body.Proposals) < listedProposals
	})
	return a, err
}
