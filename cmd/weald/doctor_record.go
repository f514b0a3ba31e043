package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"weald/config"
	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/journal"
	"weald/stream/record"
)

// recordFacts are what a doctor wants to know of a record beside its damage.
type recordFacts struct {
	Last     sample.Instant `json:"last"` // the newest snapshot, which is made once a minute; 0 for none
	InForce  int            `json:"in_force"`
	Expired  int            `json:"expired"` // of those in force
	Due      int            `json:"due"`     // of those in force
	First    string         `json:"first"`   // the channel whose date is or was first
	Until    time.Time      `json:"until"`   // that date
	OldestAt time.Time      `json:"oldest_at"`

	// Complaints are what a running daemon finds wrong, a sentence each.
	Complaints []string `json:"complaints,omitempty"`
}

// factsOf reads them. Only the channels of sources in the configuration count.
func factsOf(ctx context.Context, j journal.Journal, sources map[string]bool, now time.Time) (*recordFacts, error) {
	f := &recordFacts{}
	snap, err := j.Snapshot(ctx, math.MaxUint64)
	if err == nil {
		f.Last = snap.At
	} else if !errors.Is(err, journal.ErrNotFound) {
		return nil, err
	}
	seen := map[string]bool{}
	for e, err := range journal.Readable(j.Entries(ctx, journal.Query{Kinds: []record.Kind{record.KindCalibration}, Newest: true}), nil) {
		if err != nil {
			return nil, err
		}
		r := e.Body.(record.Calibration).Record
		channel := fmt.Sprintf("%s/%s/%d", r.Bridge, r.Source, r.Channel)
		if seen[channel] || !sources[r.Bridge+"/"+r.Source] {
			continue
		}
		seen[channel] = true
		f.InForce++
		if r.Expired(now) {
			f.Expired++
		} else if r.Due(now) {
			f.Due++
		}
		if f.Until.IsZero() || r.ValidUntil.Before(f.Until) {
			f.First, f.Until = channel, r.ValidUntil
		}
		if f.OldestAt.IsZero() || r.At.Before(f.OldestAt) {
			f.OldestAt = r.At
		}
	}
	return f, nil
}

// idsOf are the ids of all sources of a plan.
func idsOf(plan *rules.Plan) map[string]bool {
	out := map[string]bool{}
	for i := range plan.Sources {
		out[plan.Sources[i].ID] = true
	}
	return out
}

// record reads all of the record.
func (d *doctor) record(ctx context.Context, c *config.Config) {
	before := d.wrongs
	tell := func(text string) {
		d.wrong("record", text, "what was lost stays lost", "see the document on the record, What it keeps; the daemon goes on with the rest")
	}
	var facts *recordFacts
	store, err := openRecord(ctx, c.Data)
	switch {
	case inUse(err):
		d.running = true
		if err = askDaemon(ctx, c.Data, question{Check: true}, func(l answerLine) { tell(l.Finding) }); err == nil {
			err = askDaemon(ctx, c.Data, question{Facts: true}, func(l answerLine) { facts = l.Facts })
		}
	case err == nil:
		if err = checkRecord(ctx, store, tell); err == nil {
			facts, err = factsOf(ctx, store, idsOf(c.Plan()), d.now)
		}
		err = errors.Join(err, store.Close())
	}
	switch {
	case ctx.Err() != nil:
		return
	case errors.Is(err, errNoRecord):
		d.look("record", err.Error()+" yet", "nothing has been watched", "a daemon makes it when it first starts")
	case err != nil:
		d.wrong("record", err.Error(), "", "")
	case d.wrongs == before:
		d.ok("record in "+c.Data, "all of it can be read")
	}
	if facts != nil {
		d.complaints = facts.Complaints
		d.facts(facts)
		d.uncalibrated(c, facts)
	}
}

// facts says what the record has of time and of calibrations.
func (d *doctor) facts(f *recordFacts) {
	const apart = 2 * time.Second // the clock's own bound of what is a step
	switch ahead := f.Last.Time().Sub(d.now); {
	case f.Last == 0 || d.running: // a daemon that is running watches its clock by itself
	case ahead > apart:
		d.wrong("clock", fmt.Sprintf("it shows a time %v before the record's last", ahead.Round(time.Second)), "a daemon goes on from the record's last, so that its times are off until the clock has caught up", "set the clock")
	default:
		d.ok("clock", "it goes on where the record ends, at %s", f.Last.Time().Format(time.RFC3339))
	}
	if f.InForce == 0 {
		return
	}
	const why, do = "what it reads now may be off by more than is said", "weald calibrate run, or a spot check on the Calibrate page"
	found := fmt.Sprintf("of %d channels, ", f.InForce)
	first := fmt.Sprintf("first %s, on %s", f.First, f.Until.Format(time.DateOnly))
	switch {
	case f.Expired > 0:
		d.wrong("calibrations", fmt.Sprintf("%s%d past their date, %s", found, f.Expired, first), why, do)
	case f.Due > 0:
		d.look("calibrations", fmt.Sprintf("%s%d soon past their date, %s", found, f.Due, first), why, do)
	default:
		d.ok("calibrations", "%snone past its date; the oldest is of %s, %s", found, f.OldestAt.Format(time.DateOnly), first)
	}
}

// uncalibrated says which sources deliver counts that nothing makes a pressure of.
func (d *doctor) uncalibrated(c *config.Config, f *recordFacts) {
	if f.InForce > 0 {
		return // which of the others rest on nothing the pages say channel by channel
	}
	for i := range c.Plan().Sources {
		if s := &c.Plan().Sources[i]; !s.Calibrated {
			d.look("source "+s.ID, "it is not calibrated", "its places show no pressure", "weald calibrate run, or unit: and calibration: of the configuration")
		}
	}
}

// daemon says whether one is running, and that its port is free where none is.
func (d *doctor) daemon(ctx context.Context, c *config.Config) {
	if d.running {
		d.ok("daemon", "one is running, and uses this record")
		for _, c := range d.complaints {
			d.look("daemon", "it says: "+c, "", "see Setup in its pages for how that goes on")
		}
		return
	}
	l, err := listen(c.Listen)
	if err != nil {
		d.wrong("daemon", err.Error(), "the pages would not be served", "stop what uses the port, or give another listen:")
		return
	}
	l.Close()
	if c.Data != "" {
		d.look("daemon", "none uses this record", "nothing is watched", "start it: systemctl start weald, or weald run")
	}
}
