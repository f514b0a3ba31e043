package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"time"

	"weald/config"
	"weald/ingest/sample"
	"weald/stream/pipeline"
	"weald/stream/pulse"
	"weald/stream/pulse/systemd"
)

// How often a lamp asks whether the loop turns, and for how long it goes by the
// answer: a lamp that knows nothing must not look as if all were well. A loop that is
// held up for a moment, as by a large scan, is no reason.
const (
	glowEvery = 2 * time.Second
	glowFor   = 15 * time.Second
)

// pulses are what tells the outside that a daemon does its work.
type pulses struct {
	manager  *systemd.Manager
	glow     *pulse.Glow
	patience time.Duration  // with glow: how old a beat may be
	hearts   []*pulse.Heart // all that beat
	told     []*pulse.Heart // of them, those of the configuration
}

// lit reports whether the loop has turned of late.
func (p *pulses) lit() bool { return p.glow.Age() <= p.patience }

// turned proves that a pipeline's loop turns.
func turned(p *pipeline.Pipeline) pulse.Proof {
	return func(ctx context.Context) error {
		if err := p.Do(ctx, func(*pipeline.State) {}); err != nil {
			return fmt.Errorf("the loop that judges does not turn: %w", err)
		}
		return nil
	}
}

// newPulses makes them of the configuration and of what the service manager asks for.
// They prove by p, and by the record of b.
func newPulses(c *config.Config, p *pipeline.Pipeline, b *book, now func() sample.Instant, log *slog.Logger) *pulses {
	out := &pulses{glow: pulse.NewGlow(), patience: glowFor}
	if c.Cluster == nil { // else the machine tells it, whatever it carries
		out.manager = systemd.Asked(os.Getenv)
	}
	add := func(name string, every time.Duration, way pulse.Way, proofs ...pulse.Proof) *pulse.Heart {
		h := &pulse.Heart{Name: name, Every: every, Way: way, Proofs: proofs, Now: now, Log: log}
		out.hearts = append(out.hearts, h)
		return h
	}
	loop := turned(p)
	add("lamps", glowEvery, out.glow, loop)
	if within := out.manager.Watchdog(os.Getenv); within > 0 {
		add("watchdog", within/3, out.manager, loop)
	}
	if h := c.Heartbeat; h != nil {
		proofs := []pulse.Proof{loop}
		if b != nil {
			proofs = append(proofs, b.keeper.Written)
		}
		if h.Webhook != nil {
			hook := &pulse.Hook{Hook: *hookOf(h.Webhook)}
			heart := add(hook.Reaches(), h.Every, hook, proofs...)
			heart.Audit = b.auditHead
			out.told = append(out.told, heart)
		}
		if h.Topic != nil {
			at := &pulse.Topic{Topic: *topicOf(h.Topic)}
			at.Keeps = pulse.TopicKeeps
			out.told = append(out.told, add(at.Reaches(), h.Every, at, proofs...))
		}
	}
	return out
}

// manage tells the service manager when the daemon does its work, and when it ends.
func (p *pulses) manage(ctx context.Context, address string, log *slog.Logger) error {
	if err := p.hearts[0].Proofs[0](ctx); err == nil { // the loop turns, so that all before it is there
		tellReady(p.manager, "pages on "+address, log)
	}
	<-ctx.Done()
	if errors.Is(context.Cause(ctx), errErase) {
		return errErase // it comes back
	}
	_ = p.manager.Stopping() // who does not hear it waits a little longer
	return context.Cause(ctx)
}

func tellReady(m *systemd.Manager, words string, log *slog.Logger) {
	if err := m.Ready(words); err != nil {
		log.Warn("systemd was not told that the daemon is ready, and may end it for that", slog.Any("error", err), slog.String("do", "see NotifyAccess= of the unit"))
	}
}
