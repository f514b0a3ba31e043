package main

import (
	"context"
	"fmt"
	"log/slog"
	"math"
	"sync/atomic"
	"time"

	"weald/config"
	"weald/ingest/sample"
	"weald/stream/journal/replicated/patience"
	"weald/stream/relay"
)

// An inflow is what comes through the log to a machine that judges what others read. A nil
// one is that of a machine that reads its bridges itself.
type inflow struct {
	abreast  chan struct{}                  // closed when those readings have come that waited
	had      map[string]sample.Instant      // by source: up to which arrival the record had its scans at the start
	follower atomic.Pointer[relay.Follower] // nil before anything is taken
}

// newInflow returns that of a record which has all scans of each source up to an arrival.
func newInflow(had map[string]sample.Instant) *inflow {
	return &inflow{abreast: make(chan struct{}), had: had}
}

// elsewhereRead reports whether the readings of a configuration come through the log, from
// a machine that reads the bridges for others.
func elsewhereRead(c *config.Config) bool { return c.Cluster != nil && !c.Cluster.Reads }

// until is closed when all has come that waited; nil where nothing comes this way.
func (f *inflow) until() chan struct{} {
	if f == nil {
		return nil
	}
	return f.abreast
}

// catchesUp reports whether there are readings that waited, and have not come yet.
func (f *inflow) catchesUp() bool {
	if f == nil {
		return false
	}
	select {
	case <-f.abreast:
		return false
	default:
		return true
	}
}

// waits returns for how many seconds readings have not been judged that were taken, or would
// have been: as the log sends none, as a machine that reads cannot hand on, or as those
// before them are not done with. NaN is not known yet.
func (f *inflow) waits(now sample.Instant, bridges []*running) float64 {
	follower := f.follower.Load()
	if follower == nil {
		return math.NaN()
	}
	most, _ := follower.Waits()
	for _, r := range bridges {
		if e, ok := r.line.(*elsewhere); ok {
			most = max(most, e.waits())
		}
	}
	if more, newest := follower.Behind(); newest > sample.Past && (more > 0 || f.catchesUp()) {
		most = max(most, now.Sub(newest))
	}
	return most.Seconds()
}

// troubles says why what is shown is not what is.
func (f *inflow) troubles() (out []string) {
	if f == nil {
		return nil
	}
	follower := f.follower.Load()
	if follower == nil {
		return []string{"readings of other machines are not taken from the log yet"}
	}
	if lasts, why := follower.Waits(); lasts > patience.SaidAfter {
		out = append(out, fmt.Sprintf("the servers of the log have sent no readings for %v, so that nothing is judged of what other machines read: %v", lasts.Round(time.Second), why))
	}
	if f.catchesUp() {
		words := "this machine catches up: readings that waited in the log are judged one after the other, and what is shown is as old as they are"
		if more, newest := follower.Behind(); newest > sample.Past {
			words += fmt.Sprintf("; it has come to those of %s, and %d messages are still to come", newest.Time().Local().Format(time.DateTime), more)
		}
		out = append(out, words)
	}
	return out
}

// takeReadings takes readings from the log, and hears how the bridges are, until ctx ends.
func (d *daemon) takeReadings(ctx context.Context) error {
	c, in := d.now().config, d.inflow
	stop, err := relay.Hear(d.conn, relayOf(c), func(bridge string, said []byte) {
		d.gate.RLock()
		defer d.gate.RUnlock()
		for _, r := range d.reign.bridges {
			if e, ok := r.line.(*elsewhere); ok && r.spec.ID == bridge {
				e.hear(said)
			}
		}
	})
	if err != nil {
		return err
	}
	defer stop()
	after := sample.Never
	for i := range c.Plan().Sources { // of each the record may have come to another
		after = min(after, in.had[c.Plan().Sources[i].ID])
	}
	if after == sample.Never {
		after = sample.Past
	}
	f := &relay.Follower{Conn: d.conn, Options: relayOf(c), After: after, Take: d.takeItem, Log: d.log, Abreast: func() {
		d.log.Info("all readings that waited have come")
		close(in.abreast)
	}}
	in.follower.Store(f)
	return f.Run(ctx)
}

// takeItem judges a scan that came through the log, if the record has it not.
func (d *daemon) takeItem(i relay.Item) {
	d.gate.RLock()
	defer d.gate.RUnlock()
	t := d.reign
	if i.Scan.Arrived <= d.inflow.had[i.Source] {
		return
	}
	if s, ok := t.reviver.Revive(i.Source, &i.Scan); ok {
		_ = t.pipe.Put(d.ctx, s) // fails only when everything ends
	} else {
		d.log.Warn("readings of a source are not judged: the configuration lacks it, or has it with other channels", slog.String("source", i.Source), slog.String("do", "give all machines the same file"))
	}
}
