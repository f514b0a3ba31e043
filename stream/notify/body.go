package notify

import (
	"encoding/json"
	"time"

	"weald/stream/view"
)

// A Body is a message for programs, as JSON. Numbers that nobody knows are null.
type Body struct {
	Version int        `json:"v"` // 1
	Key     string     `json:"key"`
	Sender  string     `json:"sender"`
	About   About      `json:"about"`
	Text    string     `json:"text"`
	Caution string     `json:"caution"`
	Late    bool       `json:"late"`
	Queued  time.Time  `json:"queued_at"`
	Sent    time.Time  `json:"sent_at"`
	Alert   *AlertBody `json:"alert"` // null for a test
}

// An AlertBody is the alert that a Body is about.
type AlertBody struct {
	ID       string    `json:"id"`
	Place    string    `json:"place"` // "" for the daemon's own
	Rule     string    `json:"rule"`
	Subject  string    `json:"subject"`
	Priority string    `json:"priority"`
	Tier     int       `json:"tier"`
	State    string    `json:"state"` // as the message leaves
	Raised   time.Time `json:"raised_at"`
	Changed  time.Time `json:"at"` // of the change that the message is about
	By       string    `json:"by"` // code of the person who has it, or has put it aside
	Signal   string    `json:"signal"`
	Unit     string    `json:"unit"`
	Value    *float64  `json:"value"`
	U        *float64  `json:"u"`
	Limit    *float64  `json:"limit"`
}

// JSON returns the message as a program reads it.
func (s *Sending) JSON() []byte {
	b := Body{Version: 1, Key: s.Key, Sender: s.Sender, About: s.About, Text: s.Text(), Caution: Caution, Late: s.Late(),
		Queued: s.Queued.Time(), Sent: s.At.Time()}
	if e := s.Event; e != nil {
		b.Alert = &AlertBody{ID: e.ID(), Place: e.Place, Rule: e.Rule, Subject: e.Subject, Priority: e.Priority.String(),
			Tier: e.Tier, State: string(s.State()), Raised: s.Raised().Time(), Changed: e.At.Time(), By: s.Now.Who,
			Signal: e.Signal, Unit: e.Unit, Value: view.Reached(e.Value, e.Limit), U: view.Measured(e.U), Limit: view.Number(e.Limit)}
	}
	out, err := json.Marshal(b)
	if err != nil {
		panic("notify: a message that cannot be written is a mistake in this program: " + err.Error())
	}
	return out
}
