package api

import (
	"context"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"weald/stream/audit"
	"weald/stream/record"
)

type auditInput struct {
	From   time.Time `query:"from" doc:"The beginning of the record without it"`
	To     time.Time `query:"to" doc:"The end of the record without it"`
	Who    string    `query:"who" maxLength:"200" doc:"Only what this one did: a code, console, or an address"`
	Person string    `query:"person" maxLength:"200" doc:"Only what is about this person: what names the code, and what was done at a place while that person was there"`
	Alerts bool      `query:"alerts" doc:"Also that changes of alerts were kept"`
	Newest int       `query:"newest" default:"200" minimum:"1" maximum:"5000" doc:"How many at most, the newest"`
}

type auditBody struct {
	Head string `json:"head" doc:"The end of the chain, as weald audit --verify --head takes it; empty where there is none yet"`
	Acts []act  `json:"acts" nullable:"false" doc:"The newest comes first"`
}

// An act is one link of the audit's chain. What has been erased is "(erased)".
type act struct {
	Number  uint64    `json:"number" doc:"Of the link in the chain"`
	At      time.Time `json:"at"`
	Who     string    `json:"who" doc:"A code, console or an address; empty for the program itself"`
	What    string    `json:"what" doc:"In a word, such as acknowledge, viewed, exported"`
	Place   string    `json:"place"`
	Subject string    `json:"subject" doc:"With what: the id of an alert, of a session, of an export"`
	Person  string    `json:"person" doc:"Whose data it was about, by code, where that is known"`
	Text    string    `json:"text"`
	Says    string    `json:"says" doc:"All of it as a sentence"`
}

func (s *server) addAudit(api huma.API) {
	huma.Register(api, operation("audit", "Who did, saw and took away what, and when", 422), s.audit)
}

func (s *server) audit(ctx context.Context, in *auditInput) (*answer[auditBody], error) {
	if err := s.recording(); err != nil {
		return nil, err
	}
	q := audit.Query{Who: in.Who, Person: in.Person, Alerts: in.Alerts, Newest: true}
	var err error
	if q.From, q.To, err = bounded(in.From, in.To); err != nil {
		return nil, err
	}
	a := &answer[auditBody]{Body: auditBody{Acts: []act{}}}
	for e, err := range audit.Lines(ctx, s.Record, q) {
		if err != nil {
			return nil, huma.Error503ServiceUnavailable("the record cannot be read: " + err.Error())
		}
		l := e.Body.(record.Audit)
		a.Body.Acts = append(a.Body.Acts, act{Number: l.Number, At: e.At.Time(), Who: audit.Plain(l.Who), What: l.What, Place: e.Place,
			Subject: l.Subject, Person: audit.Plain(l.Person), Text: audit.Plain(l.Text), Says: audit.Sentence(&e)})
		if len(a.Body.Acts) == in.Newest {
			break
		}
	}
	head, ok, err := audit.Head(ctx, s.Record)
	switch {
	case err != nil:
		return nil, huma.Error503ServiceUnavailable("the record cannot be read: " + err.Error())
	case ok:
		a.Body.Head = head.String()
	}
	return a, nil
}
