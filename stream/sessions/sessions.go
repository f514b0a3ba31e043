// Package sessions reads from the record who was at which place, by code, and when.
package sessions

import (
	"context"
	"slices"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/record"
)

// The steps in the life of a session, as the record writes them.
const (
	Begun = "begun"
	Ended = "ended"
	Noted = "noted"
)

// A Session is one, put together from its steps.
type Session struct {
	ID, Place, Code string
	Config          uint64         // the version of the configuration when it began
	From            sample.Instant // when it began, or its first step that is not lost
	To              sample.Instant // when it ended; Never while it lasts
	Notes           []Note
}

// A Note is what somebody wrote about a session.
type Note struct {
	At           sample.Instant
	Author, Text string
}

// Lasts reports whether it has not ended.
func (s *Session) Lasts() bool { return s.To == sample.Never }

// Read returns the sessions at a place, "" for all, in the order in which they were
// begun. lost is told what could not be read; it may be nil.
func Read(ctx context.Context, log journal.Log, place string, lost func(*journal.Loss)) ([]Session, error) {
	all := []Session{}
	q := journal.Query{Kinds: []record.Kind{record.KindSession}, Place: place}
	for e, err := range journal.Readable(log.Entries(ctx, q), lost) {
		if err != nil {
			return nil, err
		}
		step := e.Body.(record.Session)
		i := slices.IndexFunc(all, func(s Session) bool { return s.ID == step.ID })
		if i < 0 { // even if its begin has been lost
			i = len(all)
			all = append(all, Session{ID: step.ID, Place: e.Place, Code: step.Code, Config: step.Config, From: e.At, To: sample.Never})
		}
		if step.What == Ended {
			all[i].To = e.At
		}
		if step.Notes != "" {
			all[i].Notes = append(all[i].Notes, Note{At: e.At, Author: e.Author, Text: step.Notes})
		}
	}
	return all, nil
}
