// Package journal is the record of everything that happened, as a few narrow
// promises that any store has to keep.
//
// The one promise behind all of them: what was acknowledged is never lost, and
// all of it can be had again. A method that keeps something returns nil only
// when it is on the disk, so that neither the end of the process nor that of the
// machine's power takes it away. Every call is kept as a whole or not at all;
// one that returned an error may be made again with the same arguments, whatever
// became of it. A method that reads says what it could not read, as an error of
// type *Loss, and goes on with the rest.
//
// Use Log to write what happened and to follow it, Inputs to feed the rules
// engine again, Shelf for small named things, and History for curves over
// months. The default store is in stream/journal/sqlite; stream/journal/journaltest
// has the tests that every store must pass, and a store in memory for the tests
// of others.
//
// All methods may be called from any goroutine. An iterator may be left early,
// and other methods may be called while one is running.
package journal

import (
	"context"
	"iter"

	"weald/ingest/sample"
	"weald/stream/record"
)

// A Journal is a whole record.
type Journal interface {
	Log
	Inputs
	Shelf
	History

	// Head returns how far the record has come.
	Head(ctx context.Context) (Head, error)

	// Check reads the whole record and yields everything that is wrong with
	// it. An error says that the check itself could not go on. A record that
	// is in order yields nothing.
	Check(ctx context.Context) iter.Seq2[Finding, error]

	// Close ends the record's use. Everything acknowledged stays.
	Close() error
}

// A Head is how far a record has come. It never goes back, whatever is deleted.
type Head struct {
	Position record.Position // of the last entry, 0 if there was none
	Ord      uint64          // the greatest ordinal of any input, 0 if there was none
}

// A Log keeps entries in the order in which they were acknowledged.
type Log interface {
	// Append keeps entries, all or none, and returns the position of the last.
	// Their own Position does not count. Calls at the same time share one
	// write to disk.
	//
	// An audit entry becomes the next link of the record's chain: see
	// record.Entry.Chain, which is shown the entries before it in the call.
	//
	// An entry that is an input must have a greater ordinal than every such
	// entry before it: ErrOrder. An entry that contradicts itself:
	// record.ErrInvalid. No room: ErrFull, which comes only when a reserve set
	// aside for entries has been used up too.
	Append(ctx context.Context, entries ...record.Entry) (record.Position, error)

	// Entries yields what q asks for. It covers what was kept when it began.
	// An entry that cannot be read is a *Loss, and the next one follows.
	Entries(ctx context.Context, q Query) iter.Seq2[record.Entry, error]

	// Wait returns nil as soon as there is an entry after the given position,
	// at once if there is one. Else it returns ErrClosed or the context's
	// cause.
	Wait(ctx context.Context, after record.Position) error
}

// A Query picks entries. Its zero value picks all of them.
type Query struct {
	From  record.Position // the first; 0 for the beginning
	Last  record.Position // the last; 0 for the end
	Kinds []record.Kind   // none for all
	Place string          // "" for all
	Since sample.Instant  // At is not before; 0 for no bound
	Until sample.Instant  // At is before; 0 for no bound

	// Newest yields the last ones first.
	Newest bool
}

// Takes reports whether q picks e.
func (q *Query) Takes(e *record.Entry) bool {
	if e.Position < q.From || q.Last > 0 && e.Position > q.Last || q.Place != "" && e.Place != q.Place ||
		q.Since != 0 && e.At < q.Since || q.Until != 0 && e.At >= q.Until {
		return false
	}
	for _, k := range q.Kinds {
		if e.Body.Kind() == k {
			return true
		}
	}
	return len(q.Kinds) == 0
}

// Inputs keeps what the rules engine was given.
type Inputs interface {
	// AppendReadings keeps blocks of scans, and ticks, and numbers the blocks:
	// it sets their Number. To be at most a second behind, call it once a
	// second.
	//
	// The ordinals of a source's blocks must ascend, and so must those of
	// ticks, from call to call: ErrOrder. Scans that were kept before are not
	// kept twice and are no error, in a block that begins where a kept one
	// does and goes on as that does, so that a call whose outcome is not known
	// can be repeated. No room: ErrFull; entries are still kept then.
	//
	// The same holds of ticks: where those of a call begin with a group that one
	// call has brought, what follows is kept.
	//
	// Thus a block can be kept while it fills. Where it begins with all scans
	// of the last block of its source, that one grows: it keeps its number. If
	// the latest arrival of the call is not on the UTC day of the call that
	// kept that one, what is new becomes a block of its own. Number is that of
	// the block that has the last scan.
	AppendReadings(ctx context.Context, blocks []record.Block, ticks []record.Tick) error

	// Inputs yields every input with first <= Ord <= last, in that order:
	// scans, ticks, and entries that have an ordinal. What was kept with them
	// is the caller's to keep. Inputs that cannot be read are a *Loss, which
	// comes before the first input that is known to follow them.
	Inputs(ctx context.Context, first, last uint64) iter.Seq2[record.Input, error]

	// Readings yields the blocks of a source in which some scan has
	// from <= At < to, in the order in which they were kept.
	Readings(ctx context.Context, source string, from, to sample.Instant) iter.Seq2[*record.Block, error]

	// Span returns the least and the greatest ordinal of the blocks, and of
	// the groups of ticks that were kept together, that begin before to and
	// do not end before from. Where there is none: ErrNotFound.
	Span(ctx context.Context, from, to sample.Instant) (first, last uint64, err error)

	// PutSnapshot keeps a state of the engine. A few of the newest are held.
	// A snapshot must not be ahead of the inputs that were kept: ErrOrder.
	PutSnapshot(ctx context.Context, s record.Snapshot) error

	// Snapshot returns the newest whole snapshot with Ord <= last. Where there
	// is none: ErrNotFound.
	Snapshot(ctx context.Context, last uint64) (record.Snapshot, error)
}

// A Shelf holds small named things, with their former versions.
type Shelf interface {
	// PutDocument keeps d as the version after d.Version, which must be the
	// newest, 0 if there is none yet, and returns the new version. If another
	// version is the newest: ErrConflict. A nil Body takes the document away.
	PutDocument(ctx context.Context, d record.Document) (version uint64, err error)

	// Document returns a version of a document; 0 means the newest. Where
	// there is none, or the newest has been taken away: ErrNotFound.
	Document(ctx context.Context, name string, version uint64) (record.Document, error)

	// Documents yields the newest version of every document whose name begins
	// with prefix, in the order of their names, without those taken away.
	Documents(ctx context.Context, prefix string) iter.Seq2[record.Document, error]
}

// History keeps what series did, at three resolutions.
type History interface {
	// PutHistory keeps points. A point that is put again replaces the former.
	PutHistory(ctx context.Context, stretches ...record.Stretch) error

	// History appends the points of a series with from <= At < to, in order of
	// time, to dst. No points is no error. What could not be read is missing from
	// them, and is told by an error that is a *Loss.
	History(ctx context.Context, place, series string, tier record.Tier, from, to sample.Instant, dst []record.Point) ([]record.Point, error)
}
