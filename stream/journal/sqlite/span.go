package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"

	"weald/ingest/sample"
	"weald/stream/journal"
)

// Span implements journal.Inputs.
func (s *Store) Span(ctx context.Context, from, to sample.Instant) (first, last uint64, err error) {
	if err := s.alive(); err != nil {
		return 0, 0, err
	}
	first = math.MaxUint64
	for _, one := range s.days.list() {
		switch {
		case one.missing || to <= from || !one.sum.lies(from, to):
			continue
		case one.sum.firstAt >= from && one.sum.lastAt < to:
			first, last = min(first, one.sum.firstOrd), max(last, one.sum.lastOrd)
			continue
		}
		a, b, err := s.spanOf(ctx, one.file, from, to)
		if errors.Is(err, errCorrupt) {
			if err := s.days.mendSeen(ctx, one.file, err, s.days.mended(one.file)); err != nil {
				return 0, 0, err
			}
			a, b, err = s.spanOf(ctx, one.file, from, to)
		}
		if err != nil {
			return 0, 0, err
		}
		if b > 0 {
			first, last = min(first, a), max(last, b)
		}
	}
	if last == 0 {
		return 0, 0, fmt.Errorf("readings from %v to %v: %w", from, to, journal.ErrNotFound)
	}
	return first, last, nil
}

// spanOf looks through the index of one file.
func (s *Store) spanOf(ctx context.Context, file string, from, to sample.Instant) (first, last uint64, err error) {
	db, err := connect(s.days.path(file), reading)
	if err != nil {
		return 0, 0, err
	}
	defer db.Close()
	err = eachRow(ctx, db, `SELECT coalesce(min(first_ord), 0), coalesce(max(last_ord), 0) FROM blocks INDEXED BY blocks_source
		WHERE first_at < ? AND last_at >= ?`, []any{int64(to), int64(from)}, func(r *sql.Rows) error {
		var a, b int64
		err := r.Scan(&a, &b)
		first, last = uint64(a), uint64(b)
		return err
	})
	return first, last, err
}
