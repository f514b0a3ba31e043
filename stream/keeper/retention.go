package keeper

import (
	"context"
	"errors"
	"math"

	"weald/rules/alert"
	"weald/stream/journal"
	"weald/stream/record"
)

// Spare returns limits under which nothing goes that is still needed: readings,
// ticks and actions after the newest snapshot, which a start has to judge again,
// what has become of alerts that are not over, from their first change on, and
// messages that wait.
// Without a snapshot a start judges everything again, so that all of it stays.
func Spare(ctx context.Context, j journal.Journal, limits journal.Limits) (journal.Limits, error) {
	snap, err := j.Snapshot(ctx, math.MaxInt64)
	if err != nil && !errors.Is(err, journal.ErrNotFound) {
		return nil, err
	}
	judged := snap.Ord + 1 // the first input that a start judges
	first, err := firstNeeded(ctx, j, judged, limits)
	if err != nil {
		return nil, err
	}
	told, err := firstNotice(ctx, j)
	if err != nil {
		return nil, err
	}
	out := journal.Limits{}
	for class, l := range limits {
		switch class {
		case journal.Readings:
			l.Spare = judged
		case journal.Transitions, journal.Actions:
			l.Spare = first
		case journal.Notices:
			l.Spare = told
		}
		out[class] = l
	}
	return out, nil
}

// firstNeeded returns the position of the first transition of an alert that is
// not over, or of the first action that a start judges again; 0 if there is
// neither. It reads all of them, and only if they have limits.
func firstNeeded(ctx context.Context, j journal.Log, judged uint64, limits journal.Limits) (uint64, error) {
	if limits[journal.Transitions] == (journal.Limit{}) && limits[journal.Actions] == (journal.Limit{}) {
		return 0, nil
	}
	standing := map[string]record.Position{} // by alert: its first change since it was last over
	first := record.Position(math.MaxUint64)
	for e, err := range journal.Readable(j.Entries(ctx, journal.Query{Kinds: []record.Kind{record.KindTransition, record.KindAction}}), nil) {
		if err != nil {
			return 0, err
		}
		t, ok := e.Body.(record.Transition)
		if !ok {
			if e.Ord >= judged {
				first = min(first, e.Position)
			}
			continue
		}
		id := t.Event.ID()
		if _, known := standing[id]; over(&t.Event) {
			delete(standing, id)
		} else if !known {
			standing[id] = e.Position
		}
	}
	for _, p := range standing {
		first = min(first, p)
	}
	if first == math.MaxUint64 {
		return 0, nil
	}
	return uint64(first), nil
}

// firstNotice returns the position of the first notice that a start has to read
// to know which messages wait; 0 if there is none.
func firstNotice(ctx context.Context, j journal.Log) (uint64, error) {
	for e, err := range journal.Readable(j.Entries(ctx, journal.Query{Kinds: []record.Kind{record.KindNotice}, Newest: true}), nil) {
		if err != nil {
			return 0, err
		}
		return uint64(min(e.Position, e.Body.(record.Notice).From)), nil
	}
	return 0, nil
}

// over reports whether nobody has to do anything about an alert after a change.
// The records of earlier versions do not tell the state.
func over(e *alert.Event) bool {
	if e.State == "" {
		return e.What == alert.Cleared
	}
	return e.State == alert.Normal && !e.Stands
}
