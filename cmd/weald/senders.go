package main

import (
	"cmp"
	"context"
	"fmt"
	"log/slog"
	"time"

	"weald/config"
	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/metrics"
	"weald/stream/notify"
	"weald/stream/notify/mail"
	"weald/stream/notify/outbox"
	"weald/stream/notify/topic"
	"weald/stream/notify/webhook"
	"weald/stream/pipeline"
	"weald/stream/view"
	"weald/webui/api"
)

// senders are the ways on which messages of a running daemon go; nil where the
// configuration has none.
type senders struct {
	box *outbox.Outbox
}

// openSenders makes them of the configuration, over the record.
// Its lamps show that the daemon is gone unless lit.
func openSenders(c *config.Config, b *book, p *pipeline.Pipeline, lit func() bool, now func() sample.Instant, log *slog.Logger) *senders {
	if len(c.Notify) == 0 {
		return nil
	}
	o := outbox.Options{Journal: b.log, Now: now, Zone: time.Local, Log: log,
		Alive: lit,
		Tell:  func(ctx context.Context, e alert.Event) { _ = p.Tell(ctx, e) }} // fails only when everything ends
	for i := range c.Notify {
		o.Specs = append(o.Specs, c.Notify[i].Spec)
		o.Senders = append(o.Senders, senderOf(&c.Notify[i]))
	}
	return &senders{outbox.New(o)}
}

func senderOf(s *config.Sender) outbox.Sender {
	switch {
	case s.Webhook != nil:
		return hookOf(s.Webhook)
	case s.Mail != nil:
		return &mail.Box{Server: s.Mail.Server, Security: mail.Security(s.Mail.Security), TLS: s.Mail.TLS,
			User: s.Mail.User, Password: s.Mail.Password, From: s.Mail.From, To: s.Mail.To}
	default:
		return topicOf(s.Topic)
	}
}

func hookOf(w *config.Webhook) *webhook.Hook {
	return &webhook.Hook{URL: w.URL, Address: w.Address, Secret: w.Secret, TLS: w.TLS}
}

func topicOf(t *config.Topic) *topic.Topic {
	return &topic.Topic{Broker: t.Broker, Name: t.Name, ClientID: t.ClientID, User: t.User, Password: t.Password, TLS: t.TLS}
}

// trouble says, for /readyz, which senders do not get through.
func (s *senders) trouble() (out []string) {
	if s == nil {
		return nil
	}
	if err := s.box.Down(); err != nil {
		out = append(out, fmt.Sprintf("nothing is sent: %v", err))
	}
	for _, st := range s.box.Statuses() {
		if st.Broken {
			out = append(out, fmt.Sprintf("sender %s does not get through: %s", st.ID, cmp.Or(st.Trouble, "a message was given up")))
		}
	}
	return out
}

// counts is what Prometheus sees.
func (s *senders) counts() (out []metrics.Sender) {
	if s == nil {
		return nil
	}
	for _, st := range s.box.Statuses() {
		out = append(out, metrics.Sender{ID: st.ID, Well: !st.Broken && st.Trouble == "", Waiting: st.Waiting,
			Sent: st.Sent, Failed: st.Failed, GivenUp: st.GivenUp})
	}
	return out
}

// views is what the pages and the API show.
func (s *senders) views() (out []api.Sender) {
	if s == nil {
		return nil
	}
	for i, st := range s.box.Statuses() {
		out = append(out, senderView(&st, s.box.Senders[i].Reaches()))
	}
	return out
}

func senderView(st *notify.Status, reaches string) api.Sender {
	v := api.Sender{ID: st.ID, Reaches: reaches, State: "well", Trouble: st.Trouble,
		Waiting: st.Waiting, Sent: st.Sent, GivenUp: st.GivenUp, Withdrawn: st.Withdrawn}
	switch {
	case st.Broken:
		v.State = "broken"
	case st.Trouble != "":
		v.State = "failing"
	case st.LastSent == 0:
		v.State = "untried"
	}
	when := func(at sample.Instant) *time.Time {
		if at <= 0 {
			return nil
		}
		return view.Moment(at)
	}
	v.TroubleSince, v.NextTryAt, v.WaitingSince = when(st.Since), when(st.Next), when(st.Oldest)
	v.LastSentAt, v.LastTestAt = when(st.LastSent), when(st.LastTest)
	v.Calls = make([]api.Called, len(st.Calls))
	for i, c := range st.Calls {
		v.Calls[i] = api.Called{Alert: c.Alert, Tier: c.Tier, State: c.What, QueuedAt: when(c.Queued), At: when(c.Since)}
		if c.What == notify.Queued {
			v.Calls[i].State = "trying"
		}
	}
	return v
}
