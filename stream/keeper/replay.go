package keeper

import (
	"context"
	"fmt"
	"maps"
	"math"
	"slices"

	"weald/ingest/calib"
	"weald/ingest/calib/applied"
	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/stream/ahead"
	"weald/stream/journal"
	"weald/stream/record"
)

// A Reviver makes scans of what was kept of them: readings as they came, turned
// into pressure by the calibration records and zeroings that were in force, and where
// there is no record by the lines of a configuration.
type Reviver struct {
	index      map[string]int // source by id
	sources    []rules.Source
	converters []*calib.Converter
	applied    *applied.Set
	recalled   bool // the records in force have been looked up
	scan       sample.Scan
}

// NewReviver takes a converter for each source of the plan, in its order.
func NewReviver(plan *rules.Plan, converters []*calib.Converter) *Reviver {
	r := &Reviver{index: make(map[string]int, len(plan.Sources)), sources: plan.Sources, converters: converters}
	sources := make([]applied.Source, len(plan.Sources))
	for i := range plan.Sources {
		s := &plan.Sources[i]
		r.index[s.ID] = i
		sources[i] = applied.Source{ID: s.ID, Channels: s.Channels, U: s.U}
	}
	r.applied = applied.NewSet(sources)
	return r
}

// Applied returns the calibration records in force, with which a run goes on after
// what has been revived. A reviver revives nothing more then.
func (r *Reviver) Applied() *applied.Set { return r.applied }

// recall puts the records and zeroings into force that were before the input with the
// given ordinal. Motions begin anew.
func (r *Reviver) recall(ctx context.Context, j journal.Log, before uint64) error {
	r.recalled = true
	if before <= 1 {
		return nil
	}
	// What is lost of them is among the losses of the inputs.
	for e, err := range journal.Readable(j.Entries(ctx, journal.Query{Kinds: Converting()}), nil) {
		switch {
		case err != nil:
			return fmt.Errorf("the calibrations of the record cannot be read: %w", err)
		case e.Ord > 0 && e.Ord < before:
			r.Apply(&e)
		}
	}
	return nil
}

// Converting lists the kinds of entries that decide what becomes of counts.
func Converting() []record.Kind { return []record.Kind{record.KindCalibration, record.KindZeroing} }

// Apply puts a record or a zeroing into force, if an entry is one. One that the
// configuration has no channel for was never in force under it.
func (r *Reviver) Apply(e *record.Entry) {
	switch b := e.Body.(type) {
	case record.Calibration:
		_ = r.applied.Apply(&b.Record)
	case record.Zeroing:
		_ = r.applied.Zero(&b.Zeroing)
	}
}

// Revive returns the scan, which is valid until the next call; false if the
// plan has no such source, or one with another number of channels.
func (r *Reviver) Revive(source string, s *record.Scan) (*sample.Scan, bool) {
	i, ok := r.index[source]
	if !ok || len(s.Raw) != r.sources[i].Channels {
		return nil, false
	}
	values := r.scan.Values
	if cap(values) < len(s.Raw) {
		values = make([]float64, len(s.Raw))
	}
	r.scan = s.Head()
	r.scan.Source, r.scan.Values, r.scan.Raw = i, values[:len(s.Raw)], s.Raw
	if math.IsNaN(r.scan.Rail) {
		r.scan.Rail = calib.NoRail
	}
	r.converters[i].Convert(r.scan.Values, s.Raw, 0, r.scan.Rail)
	r.applied.Convert(&r.scan)
	return &r.scan, true
}

// A Replay is what became of one.
type Replay struct {
	Inputs  int
	Foreign int             // scans of sources that the plan does not have
	Losses  []*journal.Loss // what could not be read
	Last    uint64          // ordinal of the last input
}

// A Taker takes the inputs of a live engine: *rules.Engine is one. Places are
// those of the plan by their index.
type Taker interface {
	Scan(*sample.Scan)
	TickPlace(place int, now sample.Instant)
	Act(place int, k alert.Key, a alert.Action) error
	Mark(place int, word string, at sample.Instant)
}

// A Restorer is a Taker that takes up how a place stood, as its engine wrote it
// down when the inputs that led there could not be kept. One that judges what the
// record has, instead of going on from it, is none.
type Restorer interface {
	Restore(place int, state []byte, e *record.Entry)
}

// Kept is what Feed needs of a journal.
type Kept interface {
	journal.Inputs
	journal.Log
}

// Feed gives the inputs from first to last to a Taker as they were given to the
// live engine. What the plan does not have is left out, and an action that is
// refused, because rules are other ones now, does nothing.
func Feed(ctx context.Context, j Kept, plan *rules.Plan, r *Reviver, first, last uint64, to Taker) (Replay, error) {
	places := make(map[string]int, len(plan.Places))
	for i := range plan.Places {
		places[plan.Places[i].ID] = i
	}
	var out Replay
	if !r.recalled {
		if err := r.recall(ctx, j, first); err != nil {
			return out, err
		}
	}
	lost := func(l *journal.Loss) { out.Losses = append(out.Losses, l) }
	for in, err := range journal.Readable(ahead.Of(j.Inputs(ctx, first, last)), lost) {
		if err != nil {
			return out, err
		}
		out.Inputs++
		out.Last = in.Ord
		switch {
		case in.Scan != nil:
			if s, ok := r.Revive(in.Source, in.Scan); ok {
				to.Scan(s)
			} else {
				out.Foreign++
			}
			if in.Spent != nil {
				in.Spent()
			}
		case in.Tick != nil:
			if i, ok := places[in.Tick.Place]; ok {
				to.TickPlace(i, in.Tick.At)
			}
		case in.Entry != nil:
			r.Apply(in.Entry)
			restore(to, in.Entry, places)
			if k, a, ok := actionOf(in.Entry); ok {
				if i, ok := places[k.Place]; ok {
					_ = to.Act(i, k, a)
				}
			}
			if i, ok := places[in.Entry.Place]; ok {
				if word, ok := MarkOf(in.Entry, &plan.Places[i]); ok {
					to.Mark(i, word, in.Entry.At)
				}
			}
		}
	}
	return out, nil
}

// restore takes up how places stood, if an entry says so.
func restore(to Taker, e *record.Entry, places map[string]int) {
	r, able := to.(Restorer)
	b, ok := e.Body.(record.State)
	if !able || !ok {
		return
	}
	states, err := unpackPlaces(b.Body)
	if err != nil {
		return // it is whole: a newer program wrote it
	}
	for _, id := range slices.Sorted(maps.Keys(states)) {
		if i, ok := places[id]; ok {
			r.Restore(i, states[id], e)
		}
	}
}
