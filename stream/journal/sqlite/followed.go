package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"strings"

	"weald/stream/record"
)

// A store may be filled from a log that others write to: see stream/journal/replicated.
// How far it has come in that log is kept in the main file, in the transaction of what
// came from there, so that a crash neither loses nor doubles a call. Calls that bring
// readings need no such care: what was kept is not kept twice.

// ofLog is the key of how far a store has come in a log.
const ofLog = "log"

// writerMark tells the id of a writer from that of a log.
const writerMark = "writer "

// A Followed is how far a store has come in a log, in numbers of messages.
type Followed struct {
	Log     string // its id; "" for a store that follows none
	Term    uint64 // which writer in turn has the right to write; 0 while anybody may
	Writer  string // its id
	Applied uint64 // the last call that was kept, or refused; 0 for none
	Next    uint64 // where to go on: before Applied where parts of a later call came before it
}

type followedKey struct{}

// Following returns a context by which Append, PutDocument, PutSnapshot and PutHistory
// keep f together with what they are given.
func Following(ctx context.Context, f Followed) context.Context {
	return context.WithValue(ctx, followedKey{}, f)
}

// ErrFollows means that the store follows a log, and somebody wrote past it: that would
// be in the copy of this machine and in no other.
var ErrFollows = errors.New("it is one machine's copy of a record that several keep, which only a running daemon may change, through the log that they share")

// mayWrite returns ErrFollows if the store follows a log and ctx is not of Following.
func (s *Store) mayWrite(ctx context.Context) error {
	if _, ok := ctx.Value(followedKey{}).(Followed); !ok && s.following.Load() {
		return ErrFollows
	}
	return nil
}

// follows has a request keep how far the store has come, if its context says so.
func (s *Store) follows(ctx context.Context, r *request) *request {
	f, ok := ctx.Value(followedKey{}).(Followed)
	if !ok {
		return r
	}
	s.following.Store(true)
	do := r.do
	r.do = func(tx *sql.Tx) error {
		if err := do(tx); err != nil {
			return err
		}
		return saveProgress(tx, ofLog, f.progress())
	}
	return r
}

// progress puts f where a file that is built anew finds it again.
func (f Followed) progress() record.Progress {
	return record.Progress{File: ofLog, Position: record.Position(f.Next), Ord: f.Applied,
		Sources: []record.SourceProgress{{Source: f.Log}, {Source: writerMark + f.Writer, Number: f.Term}}}
}

// Followed returns how far the store has come in a log, zero if it follows none.
func (s *Store) Followed(ctx context.Context) (Followed, error) {
	if err := s.alive(); err != nil {
		return Followed{}, err
	}
	s.main.use.RLock()
	defer s.main.use.RUnlock()
	all, err := readProgress(ctx, s.main.r)
	p := all[ofLog]
	if err != nil || len(p.Sources) == 0 {
		return Followed{}, translate(err)
	}
	f := Followed{Applied: p.Ord, Next: uint64(p.Position)}
	for _, x := range p.Sources { // a file that was built anew may have those of former times
		if writer, ok := strings.CutPrefix(x.Source, writerMark); !ok {
			f.Log = x.Source
		} else if x.Number >= f.Term {
			f.Term, f.Writer = x.Number, writer
		}
	}
	return f, nil
}

// Follow keeps how far the store has come, where nothing else of the call is kept.
func (s *Store) Follow(ctx context.Context, f Followed) error {
	s.following.Store(true)
	return s.write(ctx, &request{reserved: true, do: func(tx *sql.Tx) error { return saveProgress(tx, ofLog, f.progress()) }})
}
