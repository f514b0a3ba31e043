package journal

import (
	"context"
	"time"

	"weald/ingest/sample"
	"weald/stream/record"
)

// A Class is a kind of kept thing that has limits of its own.
type Class string

// The classes. Configurations and snapshots have no limits: there are few.
const (
	Readings    Class = "readings" // and ticks
	Seconds     Class = "history: 1 s"
	Minutes     Class = "history: 1 min"
	Quarters    Class = "history: 15 min"
	Faults      Class = "faults"
	Marks       Class = "marks"
	Sessions    Class = "sessions"
	Transitions Class = "alerts"
	Actions     Class = "actions"
	Notices     Class = "notices" // what became of messages
	Former      Class = "former versions of documents"
)

// Classes lists all classes.
func Classes() []Class {
	return []Class{Readings, Seconds, Minutes, Quarters, Faults, Marks, Sessions, Transitions, Actions, Notices, Former}
}

// Kind returns the kind of the entries that are of a class; "" if it has none.
func (c Class) Kind() record.Kind {
	switch c {
	case Faults:
		return record.KindFault
	case Marks:
		return record.KindMark
	case Sessions:
		return record.KindSession
	case Transitions:
		return record.KindTransition
	case Actions:
		return record.KindAction
	case Notices:
		return record.KindNotice
	}
	return ""
}

// A Limit is for how long things are kept, and how many bytes they may have.
// 0 is without limit, so that what nobody speaks of is kept for ever.
type Limit struct {
	Age   time.Duration
	Bytes int64

	// Spare is the first that must not go, however old or large: of Readings
	// an ordinal, of entries a position. 0 spares nothing; of other classes it
	// means nothing.
	Spare uint64
}

// Limits says what to keep of each class.
type Limits map[Class]Limit

// A Plan is what would be deleted.
type Plan struct {
	Now       sample.Instant
	Deletions []Deletion

	// Doubt says, where it is not empty, why ages cannot be trusted: the
	// record has a hole, so the clock may have jumped. Such a plan deletes
	// nothing by age.
	Doubt string
}

// A Deletion is one part of a Plan.
type Deletion struct {
	Class    Class
	File     string         // a whole file; "" for parts of the main one
	From, To sample.Instant // the first and the last of it
	Count    int            // blocks, entries, rows of history, versions
	Bytes    int64

	// UpTo is the store's own mark of how far to go; of entries a position. Seen is its mark
	// of what there was when the plan was made, where UpTo does not tell.
	UpTo, Seen int64
}

// A Retainer is a journal that can delete, on purpose, what is too old or takes
// too much room. Nothing is deleted but what a Plan shows.
type Retainer interface {
	// PlanRetention returns what has to go for the record to be within limits
	// at an instant of the host's clock. It deletes nothing.
	PlanRetention(ctx context.Context, limits Limits, now sample.Instant) (Plan, error)

	// Retire deletes what the plan says, and no more, whatever has been kept
	// since. Deleted blocks are not a Loss, and their numbers and ordinals are
	// not used again.
	Retire(ctx context.Context, p Plan) error
}
