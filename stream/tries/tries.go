// Package tries reads from the record the tries at putting on a wrap, step by step:
// whose, what was aimed for, what was read. What came of one is for rules/attempt.
package tries

import (
	"context"

	"weald/ingest/sample"
	"weald/rules/attempt"
	"weald/stream/journal"
	"weald/stream/record"
	"weald/stream/sessions"
)

// The steps in the life of a try, as the record writes them.
const (
	Begun = "begun"
	Read  = "read"
	Ended = "ended"
	Left  = "left"
)

// Running is the state of a try that goes on; the others are Ended and Left.
const Running = "running"

// A Try is one, put together from its steps.
type Try struct {
	ID, Place, Code string
	Lesson          string // stands for the class that learns together; "" for none
	Author          string // who led it
	Config          uint64 // the version of the configuration when it began
	From            sample.Instant
	To              sample.Instant // Never while it goes on
	State           string
	Plan            attempt.Plan
	Readings        []attempt.Reading
	Notes           []sessions.Note
}

// All returns the tries at a place, "" for all; the one that began first comes first.
// One whose begin has been lost is lost. lost is told what could not be read; it may be
// nil.
func All(ctx context.Context, log journal.Log, place string, lost func(*journal.Loss)) ([]*Try, error) {
	all := []*Try{}
	index := map[string]*Try{}
	q := journal.Query{Kinds: []record.Kind{record.KindAttempt}, Place: place}
	for e, err := range journal.Readable(log.Entries(ctx, q), lost) {
		if err != nil {
			return nil, err
		}
		b := e.Body.(record.Attempt)
		t := index[b.ID]
		switch {
		case b.What == Begun && b.Plan != nil && t == nil:
			t = &Try{ID: b.ID, Place: e.Place, Code: b.Code, Lesson: b.Lesson, Author: e.Author, Config: b.Config,
				From: e.At, To: sample.Never, State: Running, Plan: *b.Plan}
			index[b.ID] = t
			all = append(all, t)
		case t == nil:
			continue
		case b.What == Read && b.Read != nil:
			t.Readings = attempt.Take(t.Readings, *b.Read)
		case b.What == Ended, b.What == Left:
			t.To, t.State = e.At, b.What
		}
		if b.Notes != "" {
			t.Notes = append(t.Notes, sessions.Note{At: e.At, Author: e.Author, Text: b.Notes})
		}
	}
	return all, nil
}
