package main

import (
	"bytes"
	"context"
	"encoding/gob"
	"fmt"
	"log/slog"
	"math"
	"sync"
	"time"

	"weald/config"
	"weald/ingest"
	"weald/ingest/frame"
	"weald/ingest/sample"
	"weald/stream/relay"
)

// unheardFor is after how long a machine that reads bridges, and says how they are every
// second, is said to be silent.
const unheardFor = 5 * time.Second

// An elsewhere is a bridge that another machine reads, as far as that tells.
type elsewhere struct {
	spec  config.Bridge
	began time.Time
	read  sample.Instant // arrival of the newest reading that the record had of it then; Past for none

	mu     sync.Mutex
	last   *ingest.Status // nil before anything was heard; guarded by mu, as is all below
	heard  time.Time
	layout int
}

// newElsewhere returns a bridge of which the record has all scans of each source up to an
// arrival.
func newElsewhere(b *config.Bridge, had map[string]sample.Instant) *elsewhere {
	e := &elsewhere{spec: *b, began: time.Now(), read: sample.Past}
	for i := range b.Sources {
		if at, any := had[b.Sources[i].ID]; any {
			e.read = max(e.read, at)
		}
	}
	return e
}

// Run waits until ctx ends: scans come in through the log, whichever bridge they are of.
func (e *elsewhere) Run(ctx context.Context) error { <-ctx.Done(); return nil }

// Lay notes the number of the layout that is in force. What it says, the machine that reads
// has in the same file.
func (e *elsewhere) Lay(layouts []ingest.Layout) {
	e.mu.Lock()
	defer e.mu.Unlock()
	for _, l := range layouts {
		e.layout = l.Number
	}
}

// hear takes in what the machine that reads said of the bridge.
func (e *elsewhere) hear(b []byte) {
	s := new(ingest.Status)
	if gob.NewDecoder(bytes.NewReader(b)).Decode(s) != nil || s.Bridge != e.spec.ID || len(s.Sources) != len(e.spec.Sources) {
		return // it has another file, or another version: then it is silent
	}
	if s.Bad == nil { // gob has no empty maps
		s.Bad = map[frame.Reason]uint64{}
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	e.last, e.heard = s, time.Now()
}

// Status returns what is known.
func (e *elsewhere) Status() ingest.Status {
	e.mu.Lock()
	defer e.mu.Unlock()
	var out ingest.Status
	if e.last == nil {
		out = e.nothing()
	} else {
		b := *e.last
		b.Sources = append([]ingest.SourceStatus{}, b.Sources...)
		out = b
	}
	for i := range out.Sources {
		out.Sources[i].Condition.Layout = e.layout
	}
	silent := func(since sample.Instant) {
		out.Trouble = fmt.Sprintf("not seen since %s: the machine that reads this bridge is gone, or does not reach the servers of the log", since.Time().Local().Format(time.DateTime))
		out.TroubleSince = since
	}
	switch {
	case e.last != nil && time.Since(e.heard) > unheardFor:
		silent(sample.At(e.heard))
	case e.last == nil && time.Since(e.began) > unheardFor && e.read > sample.Past:
		silent(e.read)
	case e.last == nil && time.Since(e.began) > unheardFor:
		out.Trouble, out.TroubleSince = "no machine that reads this bridge is heard: see that one with the role ingest runs, has the same file and reaches the servers of the log", sample.At(e.began)
	}
	return out
}

// nothing is the status of a bridge of which nothing is known yet.
func (e *elsewhere) nothing() ingest.Status {
	s := ingest.Status{
		Bridge: e.spec.ID, Link: "another machine", Format: string(e.spec.Format), State: ingest.Connecting, Since: sample.At(e.began),
		NextTry: sample.Never, TroubleSince: sample.Past, LastByte: sample.Past, LastGood: sample.Past, Bad: map[frame.Reason]uint64{},
	}
	for _, one := range e.spec.Sources {
		s.Sources = append(s.Sources, ingest.SourceStatus{
			ID: one.ID, Number: one.Number, LastScan: sample.Past, LastSeen: sample.Past, SkewPPM: math.NaN(), Rate: math.NaN(), Nominal: one.Rate, HealthAt: sample.Past,
		})
	}
	return s
}

// elsewhereRead reports whether the readings of a configuration come through the log, from
// a machine that reads the bridges for others.
func elsewhereRead(c *config.Config) bool { return c.Cluster != nil && !c.Cluster.Reads }

// takeReadings takes readings from the log, and hears how the bridges are, until ctx ends.
func (d *daemon) takeReadings(ctx context.Context) error {
	c := d.now().config
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
	f := relay.Follower{Conn: d.conn, Options: relayOf(c), Take: d.takeItem, Log: d.log, Abreast: func() {
		d.log.Info("all readings that waited are judged")
		close(d.abreast)
	}}
	if d.start != sample.Past {
		f.From = d.start.Time().Add(-clocksApart)
	}
	return f.Run(ctx)
}

// clocksApart is by how much the clocks of servers and machines may differ, for readings
// to be asked for from where the record ends.
const clocksApart = time.Minute

// takeItem judges a scan that came through the log, if the record has it not.
func (d *daemon) takeItem(i relay.Item) {
	d.gate.RLock()
	defer d.gate.RUnlock()
	t := d.reign
	if i.Scan.Arrived <= d.had[i.Source] {
		return
	}
	if s, ok := t.reviver.Revive(i.Source, &i.Scan); ok {
		_ = t.pipe.Put(d.ctx, s) // fails only when everything ends
	} else {
		d.log.Warn("readings of a source are not judged: the configuration lacks it, or has it with other channels", slog.String("source", i.Source), slog.String("do", "give all machines the same file"))
	}
}
