package pulse

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"weald/stream/notify/topic"
	"weald/stream/notify/webhook"
)

// A Body is a beat for programs, as JSON.
type Body struct {
	Version int       `json:"v"`     // 1
	Key     string    `json:"key"`   // differs for each beat
	About   string    `json:"about"` // "heartbeat"
	Number  uint64    `json:"number"`
	Beat    time.Time `json:"sent_at"`
	Every   float64   `json:"every_s"`
	Audit   string    `json:"audit,omitempty"` // see Beat
}

// JSON returns the beat as a program reads it.
func (b Beat) JSON() []byte {
	out, err := json.Marshal(Body{Version: 1, Key: b.key(), About: "heartbeat", Number: b.Number, Beat: b.At.Time(), Every: b.Every.Seconds(), Audit: b.Audit})
	if err != nil {
		panic("pulse: a beat that cannot be written is a mistake in this program: " + err.Error())
	}
	return out
}

func (b Beat) key() string { return fmt.Sprintf("heartbeat.%d.%d", b.At, b.Number) }

// A Hook is a Way to a program that takes HTTP requests, signed as messages about
// alerts are.
type Hook struct{ webhook.Hook }

// Beat implements Way.
func (h *Hook) Beat(ctx context.Context, b Beat) error { return h.Post(ctx, b.key(), b.At, b.JSON()) }

// Close implements Way: silence says it.
func (h *Hook) Close() {}

// TopicKeeps is the topic below a Topic's name at which the time of the newest beat is
// retained.
const TopicKeeps = "time"

// A Topic is a Way to an MQTT broker, which retains the time of the newest beat at
// NAME/time, in RFC 3339, and topic.Gone once the daemon has gone: its last will. Its
// Keeps is TopicKeeps.
type Topic struct{ topic.Topic }

// Beat implements Way.
func (t *Topic) Beat(ctx context.Context, b Beat) error {
	_, err := t.Keep(ctx, b.At.Time().Format(time.RFC3339))
	return err
}
