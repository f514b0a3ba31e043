package main

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"sync"
	"time"

	"weald/config"
	"weald/ingest"
	"weald/ingest/frame"
	"weald/ingest/sample"
)

// unheardFor is after how long a machine that reads bridges, and says how they are every
// second, is said to be silent.
const unheardFor = 5 * time.Second

// otherLayout is the number of a layout that is not in force here.
const otherLayout = -1

// An elsewhere is a bridge that another machine reads, as far as that tells.
type elsewhere struct {
	spec  config.Bridge
	began time.Time
	read  sample.Instant // arrival of the newest reading that the record had of it then; Past for none

	mu     sync.Mutex
	last   *ingest.Status // nil before anything was heard; guarded by mu, as is all below
	hands  handing
	heard  time.Time
	layout int
	shape  string // of the layout in force here
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

// Lay notes which layout is in force. What it says, the machine that reads has in the same
// file, unless that was changed and one of the two has not read it yet.
func (e *elsewhere) Lay(layouts []ingest.Layout) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.shape = shapeOf(layouts)
	for _, l := range layouts {
		e.layout = l.Number
	}
}

// hear takes in what the machine that reads said of the bridge.
func (e *elsewhere) hear(b []byte) {
	s, hands, err := toldOf(b)
	if err != nil || s.Bridge != e.spec.ID || len(s.Sources) != len(e.spec.Sources) {
		return // it has another file, or another version: then it is silent
	}
	if s.Bad == nil { // gob has no empty maps
		s.Bad = map[frame.Reason]uint64{}
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	e.last, e.hands, e.heard = s, hands, time.Now()
}

// waits returns for how long what is read of the bridge has not come through the log, as
// far as the machine that reads it says so.
func (e *elsewhere) waits() time.Duration {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.last == nil || time.Since(e.heard) > unheardFor {
		return 0 // nothing is known
	}
	return e.hands.Waits
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
		if made := &out.Sources[i].Condition; e.hands.Shape == e.shape && made.Layout == e.hands.Layout {
			made.Layout = e.layout
		} else {
			made.Layout = otherLayout
		}
		out.Sources[i].Trouble = cmp.Or(e.hands.left(out.Sources[i].ID), out.Sources[i].Trouble)
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
	case e.last != nil && e.hands.held() != "":
		out.Trouble, out.TroubleSince = "the machine that reads this bridge does not get its readings on: "+e.hands.held(), sample.At(e.heard.Add(-e.hands.Waits))
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
