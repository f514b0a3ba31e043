package api

import (
	"context"
	"time"

	"github.com/danielgtaylor/huma/v2"
)

// A Sender is a way on which messages about alerts go, with how that fares.
type Sender struct {
	ID      string `json:"id"`
	Reaches string `json:"reaches" doc:"Whither, in plain words and without a secret"`
	State   string `json:"state" enum:"well,untried,failing,broken" doc:"untried until something was delivered; broken once an alert says so"`

	Trouble      string     `json:"trouble" doc:"Why the last attempt failed; empty if it did not"`
	TroubleSince *time.Time `json:"trouble_since"`
	NextTryAt    *time.Time `json:"next_try_at"`

	Waiting      int        `json:"waiting" doc:"Messages that have not been delivered yet"`
	WaitingSince *time.Time `json:"waiting_since"`
	Sent         uint64     `json:"sent" doc:"Since the daemon started, as all that follows. A receiver has taken it; nobody need have seen it"`
	GivenUp      uint64     `json:"given_up"`
	Withdrawn    uint64     `json:"withdrawn" doc:"Their alert was put aside before they were sent"`
	LastSentAt   *time.Time `json:"last_sent_at"`
	LastTestAt   *time.Time `json:"last_test_at" doc:"The newest test that was delivered"`

	Calls []Called `json:"calls" nullable:"false" doc:"What has become of the calls of alerts that call this sender now"`
}

// A Called is what has become of one call of an alert that still calls.
type Called struct {
	Alert    string     `json:"alert" doc:"The alert's id"`
	Tier     int        `json:"tier" doc:"The tier that was called"`
	State    string     `json:"state" enum:"trying,sent,given-up,withdrawn" doc:"sent: a receiver has taken it; nobody need have seen it"`
	QueuedAt *time.Time `json:"queued_at" doc:"Since when it is tried, or was"`
	At       *time.Time `json:"at" doc:"Since when it is in this state"`
}

type sendersBody struct {
	Senders []Sender `json:"senders" nullable:"false"`
}

func (s *server) addSenders(api huma.API) {
	huma.Register(api, operation("senders", "Ways on which messages about alerts go, and whether they are open"),
		func(context.Context, *struct{}) (*answer[sendersBody], error) {
			out := &answer[sendersBody]{Body: sendersBody{Senders: []Sender{}}}
			if s.Senders != nil {
				out.Body.Senders = append(out.Body.Senders, s.Senders()...)
			}
			return out, nil
		})
}
