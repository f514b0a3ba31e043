package main

import (
	"context"
	"log/slog"
	"math"
	"time"

	"weald/ingest"
	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/selfwatch"
	"weald/stream/selfwatch/host"
	"weald/stream/view"
	"weald/webui/api"
)

// watchSelf makes what watches the daemon itself, of all of its parts. It takes up the
// record, and starts nothing.
func (t *reign) watchSelf(ctx context.Context, log *slog.Logger) (*selfwatch.Watcher, error) {
	o := selfwatch.Options{
		Settings: t.config.Self, Probes: t.probes(), Now: t.clock.Now, Log: log,
		Tell: func(ctx context.Context, e alert.Event) error { return t.pipe.Tell(ctx, e) },
	}
	if t.book != nil {
		o.Journal = t.book.log
	}
	for i := range t.config.Notify {
		o.Senders = append(o.Senders, t.config.Notify[i].ID)
	}
	return selfwatch.New(ctx, o)
}

// probes returns what tells the numbers of the daemon. Of a daemon whose clock runs fast
// the host's clock means nothing.
func (t *reign) probes() map[string]func() float64 {
	began := sample.Past // when it was first looked: what takes long before a start is no fault
	age := func(since sample.Instant) float64 {
		now := t.clock.Now()
		if began == sample.Past {
			began = now
		}
		return t.host(now.Sub(max(began, since)))
	}
	out := map[string]func() float64{
		selfwatch.Loop:   func() float64 { return min(t.pulses.glow.Age().Seconds(), age(sample.Past)) },
		selfwatch.Behind: func() float64 { return t.host(t.pipe.Load().Behind) },
		selfwatch.Memory: host.FreeMemory,
	}
	if len(t.config.Bridges) > 0 {
		out[selfwatch.Silence] = func() float64 {
			newest, any := sample.Past, false
			for _, b := range t.bridges {
				s := b.Status()
				newest, any = max(newest, s.LastGood), any || s.State != ingest.Ended
			}
			if !any { // recordings that were read to their end: nothing more is to come
				return math.NaN()
			}
			return age(newest)
		}
	}
	if t.inflow != nil {
		out[selfwatch.Log] = func() float64 { return t.inflow.waits(t.clock.Now(), t.bridges) }
	}
	if dir := t.config.Data; t.book != nil {
		out[selfwatch.Disk] = func() float64 { return host.FreeGB(dir) }
	}
	if t.config.TLS != nil {
		out[selfwatch.Certificate] = func() float64 { return time.Until(t.secure.Ends()).Hours() / 24 }
	}
	if t.clock.Speed() == 1 {
		out[selfwatch.ClockStep] = func() float64 { return math.Abs(t.clock.Off().Seconds()) }
		out[selfwatch.ClockError] = host.ClockError
	}
	if len(t.pulses.told) > 0 {
		out[selfwatch.Heartbeat] = func() (most float64) {
			for _, h := range t.pulses.told {
				s := h.Status()
				most = max(most, age(s.Taken)/s.Every.Seconds()-1)
			}
			return most
		}
	}
	return out
}

// host returns how many seconds a duration of the daemon's clock is on the host's.
func (t *reign) host(span time.Duration) float64 { return span.Seconds() / t.clock.Speed() }

// selfView is what the pages and the API show of the daemon itself.
func (t *reign) selfView() api.Self {
	out := api.Self{Conditions: []api.SelfCondition{}, Heartbeats: []api.Heartbeat{}}
	for _, c := range t.self.Conditions() {
		v := api.SelfCondition{ID: c.Kind.ID, State: "well", Value: view.Measured(c.Value), Limit: c.Setting.Limit, Unit: c.Kind.Unit, Above: c.Kind.Above,
			AfterS: c.Setting.After.Seconds(), Priority: c.Setting.Priority.String(), Since: view.Moment(c.Since), Text: c.Text}
		switch {
		case c.Setting.Off:
			v.State = "off"
		case c.Raised:
			v.State = "raised"
		case c.Beyond == sample.Maybe:
			v.State = "unknown"
		case c.Beyond == sample.Yes:
			v.State = "beyond"
		}
		out.Conditions = append(out.Conditions, v)
	}
	for _, h := range t.pulses.told {
		s := h.Status()
		v := api.Heartbeat{Reaches: s.Name, EveryS: s.Every.Seconds(), State: "well", TakenAt: view.Moment(s.Taken), Trouble: s.Trouble, Since: view.Moment(s.Since)}
		switch {
		case s.Held:
			v.State = "held"
		case s.Trouble != "":
			v.State = "failing"
		case s.Taken == sample.Past:
			v.State = "untried"
		}
		out.Heartbeats = append(out.Heartbeats, v)
	}
	return out
}
