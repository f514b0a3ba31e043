package sqlite

import (
	"context"
	"database/sql"
	"iter"

	"weald/stream/journal"
	"weald/stream/record"
)

// lastLink returns the end of the chain of audit entries in a main file. A link that
// is damaged is passed over: the next one follows the last that can be read, and
// whoever verifies the chain is told of the damage.
func lastLink(ctx context.Context, db *sql.DB) (record.Link, error) {
	for before := int64(1) << 62; ; {
		var r row
		found := false
		err := eachRow(ctx, db, "SELECT position, body FROM entries WHERE kind = ? AND position < ? ORDER BY position DESC LIMIT 1",
			[]any{string(record.KindAudit), before}, func(rows *sql.Rows) error {
				found = true
				return rows.Scan(&r.position, &r.body)
			})
		if err != nil || !found {
			return record.Link{}, err
		}
		if e, err := record.DecodeEntry(r.body); err == nil {
			if a, ok := e.Body.(record.Audit); ok {
				return record.Link{Number: a.Number, Hash: a.Hash}, nil
			}
		}
		before = r.position
	}
}

// Bodies implements journal.Chained.
func (s *Store) Bodies(ctx context.Context) iter.Seq2[journal.Body, error] {
	return func(yield func(journal.Body, error) bool) {
		last := int64(s.head.position())
		for from := int64(1); from <= last; {
			rows, err := s.entryPage(ctx, &journal.Query{}, from, last)
			if err != nil {
				yield(journal.Body{}, err)
				return
			}
			for _, r := range rows {
				if !yield(journal.Body{Position: record.Position(r.position), Bytes: r.body}, nil) {
					return
				}
				from = r.position + 1
			}
			if len(rows) < page {
				return
			}
		}
	}
}
