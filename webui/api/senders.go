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
}

type sendersBody struct {
	Senders []Sender `json:"senders" nullable:"false"`
}

func (s *server) addSenders(api huma.API) {
	huma.Register(api, operation("senders", "/api/v1/senders", "Ways on which messages about alerts go, and whether they are open"),
		func(context.Context, *struct{}) (*answer[sendersBody], error) {
			out := &answer[sendersBody]{Body: sendersBody{Senders: []Sender{}}}
			if s.Senders != nil {
				out.Body.Senders = append(out.Body.Senders, s.Senders()...)
			}
			return out, nil
		})
}
