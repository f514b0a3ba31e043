package keeper

import (
	"cmp"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"slices"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/stream/journal"
	"weald/stream/record"
)

// Resumed is where a start begins.
type Resumed struct {
	Engine *rules.Engine
	Sink   *Relay         // tells what Engine finds; set its To before feeding it
	Ord    uint64         // of the last input that was kept
	Last   sample.Instant // the newest instant that was kept, on the daemon's clock; Past for an empty record
	Past   []alert.Event  // kept changes that people still want to see, by time
	New    []alert.Event  // changes that the catching up brought and that are not kept yet

	heard sample.Lately // by sources of the plan

	position record.Position            // of the newest entry where the start began
	before   record.Position            // of changes: up to it they came of inputs before the snapshot
	undated  bool                       // before is not known, as an older version wrote the snapshot
	restored map[string]record.Position // by place: the same, where an entry says how it stood

	newest  sample.Instant            // arrival of all scans; Past for none
	floor   sample.Instant            // of those before the snapshot
	arrived map[string]sample.Instant // of those after it, by source
	stood   []alert.Key               // alerts that were not normal where the snapshot was taken
}

// Heard returns the last scans of a source, in the order in which they came.
func (r *Resumed) Heard(source string) []sample.Heard { return r.heard.Last(source) }

// Arrived returns an instant up to which the record has all scans of a source that came,
// where those of all sources came one after the other; Past where it has none.
func (r *Resumed) Arrived(source string) sample.Instant {
	if at, any := r.arrived[source]; any {
		return max(at, r.floor)
	}
	return r.floor
}

// A Relay is a rules.Sink whose receiver can be chosen later.
type Relay struct{ To rules.Sink }

// Alert implements rules.Sink.
func (r *Relay) Alert(e alert.Event) { r.To.Alert(e) }

// Updated implements rules.Sink.
func (r *Relay) Updated(place int, at sample.Instant) { r.To.Updated(place, at) }

// Late implements rules.Sink.
func (r *Relay) Late(place int, s *sample.Scan) { r.To.Late(place, s) }

// A gatherer keeps events, and nothing else.
type gatherer struct{ events []alert.Event }

func (g *gatherer) Alert(e alert.Event)       { g.events = append(g.events, e) }
func (*gatherer) Updated(int, sample.Instant) {}
func (*gatherer) Late(int, *sample.Scan)      {}

// pastShown is how long ago an alert may have been cleared to be shown still: as long as one
// that nobody has acknowledged is.
const pastShown = 12 * time.Hour

// Resume builds an engine and brings it to where the record ends.
func Resume(ctx context.Context, j journal.Journal, plan *rules.Plan, reviver *Reviver, log *slog.Logger) (*Resumed, error) {
	head, err := j.Head(ctx)
	if err != nil {
		return nil, fmt.Errorf("the record does not say where it ends: %w", err)
	}
	found := &gatherer{}
	out := &Resumed{
		Sink: &Relay{To: found}, Ord: head.Ord, Last: sample.Past, heard: sample.Lately{}, position: head.Position, restored: map[string]record.Position{},
		newest: sample.Past, floor: sample.Past, arrived: map[string]sample.Instant{},
	}
	out.Engine = rules.NewEngine(plan, out.Sink)
	from, err := out.takeUp(ctx, j, plan, reviver, log)
	if err != nil {
		return nil, err
	}
	if head.Ord > 0 {
		replay, err := Feed(ctx, j, plan, reviver, from+1, head.Ord,
			catchingUp{out, plan, found, log})
		if err != nil {
			return nil, fmt.Errorf("the record cannot be caught up with: %w", err)
		}
		for _, l := range replay.Losses {
			log.Error("the record has a loss", slog.String("what", l.Error()), slog.String("do", "weald doctor reads the record and says what is lost"))
		}
	}
	return out, out.sort(ctx, j, found.events)
}

// catchingUp is an engine that notes what was heard, and when last.
type catchingUp struct {
	*Resumed
	plan  *rules.Plan
	found *gatherer
	log   *slog.Logger
}

// Scan implements Taker.
func (c catchingUp) Scan(s *sample.Scan) {
	c.Last = max(c.Last, s.Arrived)
	id := c.plan.Sources[s.Source].ID
	c.heard.Hear(id, s)
	c.newest, c.arrived[id] = max(c.newest, s.Arrived), max(c.arrived[id], s.Arrived)
	c.Engine.Scan(s)
}

// TickPlace implements Taker.
func (c catchingUp) TickPlace(place int, now sample.Instant) { c.Engine.TickPlace(place, now) }

// Act implements Taker.
func (c catchingUp) Act(place int, k alert.Key, a alert.Action) error {
	return c.Engine.Act(place, k, a)
}

// Mark implements Taker.
func (c catchingUp) Mark(place int, word string, at sample.Instant) { c.Engine.Mark(place, word, at) }

// Restore implements Restorer. What was judged of the place before without all of
// its readings was judged better then, and kept.
func (c catchingUp) Restore(place int, state []byte, e *record.Entry) {
	if err := c.Engine.RestorePlace(place, state); err != nil {
		c.log.Warn("how a place stood on a full disk cannot be taken up", slog.Any("error", err), slog.String("do", "look at its alerts: they are those of before the disk was full"))
		return
	}
	c.Last = max(c.Last, e.Written)
	id := c.plan.Places[place].ID
	c.restored[id] = e.Position
	c.found.events = slices.DeleteFunc(c.found.events, func(e alert.Event) bool { return e.Place == id })
}

// takeUp restores the newest snapshot and returns the ordinal that it stands at.
// Without one that fits, the whole record is caught up with.
func (r *Resumed) takeUp(ctx context.Context, j journal.Journal, plan *rules.Plan, reviver *Reviver, log *slog.Logger) (uint64, error) {
	snap, err := j.Snapshot(ctx, r.Ord)
	switch {
	case errors.Is(err, journal.ErrNotFound):
		return 0, nil
	case err != nil:
		return 0, fmt.Errorf("the snapshot of the rules cannot be read: %w", err)
	}
	r.Last = snap.At
	if err := reviver.recall(ctx, j, snap.Ord+1); err != nil {
		return 0, err
	}
	places, err := unpackPlaces(snap.Body)
	if err != nil {
		log.Warn("the snapshot of the rules is damaged; holds begin anew", slog.Any("error", err), slog.String("do", "look at who has lain or sat for long: their time counts from now. weald doctor reads the record and says what is lost"))
		return snap.Ord, nil
	}
	if at := places[arrival]; len(at) == 8 {
		r.floor = sample.Instant(binary.BigEndian.Uint64(at))
		r.newest = r.floor
	}
	at, told := places[position]
	if r.undated = !told || len(at) != 8; !r.undated {
		r.before = record.Position(binary.BigEndian.Uint64(at))
		r.undated = r.before > r.position // of a record that has lost its end
	}
	for i := range plan.Sources {
		id := plan.Sources[i].ID
		r.heard[id] = unpackHeard(places[id])
		if state, ok := places[id+calibrations]; ok {
			if err := reviver.applied.Read(i, state); err != nil {
				log.Warn("the motions of a source begin anew", slog.Any("error", err), slog.String("do", "its calibration counts without what was before, for some minutes"))
			}
		}
	}
	for _, id := range slices.Sorted(maps.Keys(places)) {
		r.stood = append(r.stood, rules.Stood(id, places[id])...) // nothing stands under the id of a source
	}
	r.restore(plan, places, log)
	return snap.Ord, nil
}

// restore lets the engine go on with states of places, by their ids.
func (r *Resumed) restore(plan *rules.Plan, places map[string][]byte, log *slog.Logger) {
	for i := range plan.Places {
		state, ok := places[plan.Places[i].ID]
		if !ok {
			continue // a new place
		}
		if err := r.Engine.RestorePlace(i, state); err != nil {
			log.Warn("the holds of a place begin anew", slog.Any("error", err), slog.String("do", "where its rules were changed that is as it should be; look at who is there"))
		}
	}
}

// part ends the alerts that the engine does not go on with; last are the newest changes
// of all.
func (r *Resumed) part(last []alert.Event) {
	slices.SortFunc(last, func(a, b alert.Event) int { return cmp.Compare(a.ID(), b.ID()) })
	for i := range last {
		if e, ends := r.Engine.Ends(&last[i], r.Last); ends {
			r.New = append(r.New, e)
		}
	}
}

// sort parts what the catching up found into what is kept already and what is
// not, and gathers the kept changes that people still want to see. What stood and has
// no rule or place any more ends, which is new. How far it looks back goes by where
// changes stand in the record: their instants are those of many clocks, of which one may
// be slow.
func (r *Resumed) sort(ctx context.Context, j journal.Journal, found []alert.Event) error {
	type change struct {
		id   string
		what alert.Change
		at   sample.Instant
	}
	kept := map[change]int{} // of inputs that were caught up with; two changes may be alike
	oldest := sample.Never
	for _, e := range found {
		oldest = min(oldest, e.At)
	}
	var newest sample.Instant = sample.Past
	open := map[string]bool{}  // ids of which something has been seen, and whether their newest raise has
	ended := map[string]bool{} // ids that are shown as over, if nobody has acknowledged them
	last := map[string]alert.Event{}
	parted := r.parted()
	for entry, err := range journal.Readable(j.Entries(ctx, journal.Query{Kinds: []record.Kind{record.KindTransition}, Newest: true}), nil) {
		if err != nil {
			return fmt.Errorf("the alerts of the record cannot be read: %w", err)
		}
		e := entry.Body.(record.Transition).Event
		seen := max(e.At, entry.Written)
		newest = max(newest, seen)
		if r.undated || entry.Position > max(r.before, r.restored[e.Place]) {
			kept[change{e.ID(), e.What, e.At}]++
		}
		if _, later := open[e.ID()]; !later {
			last[e.ID()] = e
		}
		if e.What == alert.Cleared && !open[e.ID()] && newest.Sub(seen) <= pastShown {
			ended[e.ID()] = true
		}
		if !open[e.ID()] {
			r.Past = append(r.Past, e)
		}
		open[e.ID()] = open[e.ID()] || e.What == alert.Raised && !e.Quiet
		through := entry.Position <= r.before
		if r.undated {
			through = e.At < oldest
		}
		if through && newest.Sub(seen) > pastShown && r.allSeen(open, ended, parted) {
			break
		}
	}
	slices.Reverse(r.Past)
	r.addAside(open)
	slices.SortStableFunc(r.Past, func(a, b alert.Event) int { return cmp.Compare(a.At, b.At) })
	for _, e := range found {
		c := change{e.ID(), e.What, e.At}
		if kept[c]--; kept[c] < 0 { // of those that are alike the last ones are missing
			r.New = append(r.New, e)
			last[e.ID()] = e
		}
	}
	r.part(slices.Collect(maps.Values(last)))
	return nil
}

// parted lists what stood where the snapshot was taken and is normal, or none of the
// engine's, now.
func (r *Resumed) parted() []alert.Key {
	stands := map[alert.Key]bool{}
	for i := range r.Engine.Places() {
		for _, s := range r.Engine.Standing(i, nil) {
			stands[s.Key] = true
		}
	}
	return slices.DeleteFunc(r.stood, func(k alert.Key) bool { return stands[k] })
}

// addAside adds the alerts that have been put aside for longer than the record was
// looked through: the engine knows of them.
func (r *Resumed) addAside(seen map[string]bool) {
	for i := range r.Engine.Places() {
		for _, s := range r.Engine.Standing(i, nil) {
			if _, any := seen[s.ID()]; s.State.Aside() && !any {
				r.Past = append(r.Past, s.Aside)
			}
		}
	}
}

// allSeen reports whether the raise of every alert has been seen that stands, or has ended
// and is shown still, and something of those that stood. What is over is shown for a while only.
func (r *Resumed) allSeen(seen, ended map[string]bool, stood []alert.Key) bool {
	for _, k := range stood {
		if _, any := seen[k.ID()]; !any {
			return false
		}
	}
	for i := range r.Engine.Places() {
		for _, s := range r.Engine.Standing(i, nil) {
			if !seen[s.ID()] && (s.Raised || s.State == alert.Latched || ended[s.ID()]) {
				return false
			}
		}
	}
	return true
}
