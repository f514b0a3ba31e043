package config

import (
	"time"

	"weald/config/internal/shape"
	"weald/config/internal/tree"
)

// A Heartbeat is who is told at intervals that the daemon does its work. One of its
// ways at least is not nil.
type Heartbeat struct {
	Every   time.Duration
	Webhook *Webhook
	Topic   *Topic // of which the retained time is below Name
}

// The bounds of heartbeat.every: the record is written once a second, for which a busy
// disk needs some room, and an hour is longer than anybody should not know.
const (
	oftenest = 5 * time.Second
	rarest   = time.Hour
)

func (r *reader) heartbeat() *Heartbeat {
	h, path := r.file.Heartbeat, tree.Path{"heartbeat"}
	if h == nil {
		return nil
	}
	out := &Heartbeat{Every: time.Duration(h.Every)}
	if at := path.With("every"); (out.Every < oftenest || out.Every > rarest) && !r.doc.Faulty(at) {
		r.doc.Report(at, "every is %v: give from 5s to 1h", out.Every)
	}
	if h.Webhook == nil && h.Topic == nil && !r.doc.Has(path.With("webhook")) && !r.doc.Has(path.With("topic")) {
		r.doc.Report(path, "the heartbeat reaches nobody: give webhook, topic or both")
	}
	if h.Webhook != nil {
		out.Webhook = r.webhook(*h.Webhook, path.With("webhook"))
	}
	if h.Topic != nil {
		out.Topic = r.topic(shape.Topic(*h.Topic), "heartbeat", "the heartbeat", path.With("topic"))
	}
	return out
}
