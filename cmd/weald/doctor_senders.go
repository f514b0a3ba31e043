package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"weald/config"
	"weald/stream/notify/outbox"
)

// A tester is a sender that can be reached without sending anything.
type tester interface {
	outbox.Sender
	Try(ctx context.Context) error
}

// tryWithin is how long a sender may take to be reached.
const tryWithin = 10 * time.Second

// senders looks whether those who are called can be reached, and whether the secrets
// for it can be read. Nothing is sent.
func (d *doctor) senders(ctx context.Context, c *config.Config) {
	for i := range c.Notify {
		s := &c.Notify[i]
		d.reach(ctx, "sender "+s.ID, senderOf(s), "nobody is called this way", fmt.Sprintf("see whether the way there is open, and then: weald notify test %s", s.ID))
	}
	if h := c.Heartbeat; h != nil {
		const why, do = "whoever waits for beats takes it for dead", "see whether the way there is open"
		if h.Webhook != nil {
			d.reach(ctx, "heartbeat", hookOf(h.Webhook), why, do)
		}
		if h.Topic != nil {
			d.reach(ctx, "heartbeat", topicOf(h.Topic), why, do)
		}
	} else if d.running {
		d.look("heartbeat", "the configuration has none", "nobody outside would notice that the daemon has died", "give heartbeat:")
	}
}

func (d *doctor) reach(ctx context.Context, about string, way outbox.Sender, why, do string) {
	limited, cancel := context.WithTimeoutCause(ctx, tryWithin, errors.New("it took too long"))
	defer cancel()
	if err := way.(tester).Try(limited); err != nil {
		d.wrong(about, fmt.Sprintf("%s cannot be reached: %v", way.Reaches(), err), why, do)
		return
	}
	d.ok(about, "%s can be reached", way.Reaches())
}
