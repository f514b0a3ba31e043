package journal

import (
	"context"
	"iter"

	"weald/stream/record"
)

// A Body is an entry as it lies in the record: its encoding, or that of a note in
// the place of one that was deleted on purpose, or, where the disk has failed or
// somebody has been at it, any bytes.
type Body struct {
	Position record.Position // where it lies
	Bytes    []byte
}

// Chained is a journal whose chain of audit entries can be verified.
type Chained interface {
	Log

	// Bodies yields the entries as they lie, in the order of their positions, up to
	// the head of the record when it began. Positions where nothing lies are passed
	// over.
	Bodies(ctx context.Context) iter.Seq2[Body, error]
}
