package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"iter"
	"maps"
	"math"
	"slices"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/record"
)

// Readings implements journal.Inputs.
func (s *Store) Readings(ctx context.Context, source string, from, to sample.Instant) iter.Seq2[*record.Block, error] {
	return func(yield func(*record.Block, error) bool) {
		if err := s.alive(); err != nil {
			yield(nil, err)
			return
		}
		if source == "" || to <= from {
			return
		}
		sel := selection{last: math.MaxInt64, source: source, one: true, from: int64(from), to: int64(to)}
		streams, lost := s.streams(ctx, sel, func(m *summary) bool { return m.lies(from, to) })
		for _, err := range lost {
			if !yield(nil, err) {
				return
			}
		}
		w, err := s.newWatch(ctx, 0, math.MaxInt64)
		if err != nil {
			yield(nil, err)
			return
		}
		defer w.close()
		var told spans // where one file ends and the next begins, both know what is missing
		tell := func(lost []error) bool {
			for _, err := range lost {
				var l *journal.Loss
				if !errors.As(err, &l) {
					return yield(nil, err)
				}
				for _, r := range missing(l.First, l.Last, source, nil, told) {
					once := *l
					once.First, once.Last = r.first, r.last
					told = append(told, r)
					if !yield(nil, &once) {
						return false
					}
				}
			}
			return true
		}
		type part struct {
			span        // the first and the last block
			ord  uint64 // of the last
		}
		met := map[string]part{} // by file
		for row, err := range merge(ctx, streams) {
			if err == nil {
				m, known := met[row.file]
				if !known {
					m.span = span{row.number, w.back.predecessor(ctx, source, row.number, row.firstOrd).number}
				}
				if !tell(w.between(ctx, source, row.file, m.last+1, row.number-1)) {
					return
				}
				met[row.file] = part{span{m.first, row.number}, row.firstOrd}
				if err = row.err; err != nil {
					err = &journal.Loss{Source: source, First: row.number, Last: row.number, Err: err}
				} else if !meets(row.block, from, to) {
					continue // between two scans, or beside what is asked for
				}
			}
			if !yield(row.block, err) {
				return
			}
		}
		for _, file := range slices.Sorted(maps.Keys(met)) {
			m := met[file]
			if !tell(w.between(ctx, source, file, m.last+1, w.successor(ctx, source, m.last, m.ord)-1)) || !tell(w.beside(ctx, file, source, m.span, &sel)) {
				return
			}
		}
	}
}

func meets(b *record.Block, from, to sample.Instant) bool {
	return slices.ContainsFunc(b.Scans, func(s record.Scan) bool { return s.At >= from && s.At < to })
}

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
