package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"iter"
	"math"
	"strings"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/record"
)

// Append implements journal.Log.
func (s *Store) Append(ctx context.Context, entries ...record.Entry) (record.Position, error) {
	if err := s.mayWrite(ctx); err != nil {
		return 0, err
	}
	if len(entries) == 0 {
		return s.head.position(), s.usable()
	}
	for i := range entries {
		if err := entries[i].Check(); err != nil {
			return 0, err
		}
		if entries[i].Ord > math.MaxInt64 {
			return 0, fmt.Errorf("entry with ordinal %d %w", entries[i].Ord, record.ErrInvalid)
		}
	}
	var last record.Position
	var ord uint64
	var link record.Link
	r := &request{reserved: true}
	r.do = func(tx *sql.Tx) error {
		sums := make([]record.Sum, 0, len(entries))
		for _, e := range entries {
			sum, err := s.appendOne(tx, e, sums)
			if err != nil {
				return err
			}
			sums = append(sums, sum)
		}
		last, ord, link = s.main.position, s.main.ord, s.main.link
		return nil
	}
	r.kept = func() { s.head.entries(last, ord, link) }
	if err := s.write(ctx, s.follows(ctx, r)); err != nil {
		return 0, err
	}
	return last, nil
}

// appendOne keeps an entry behind all others, of which those of the same call have
// the given sums, and returns its own. Only who commits may call it.
func (s *Store) appendOne(tx *sql.Tx, e record.Entry, sums []record.Sum) (record.Sum, error) {
	e.Position = s.main.position + 1
	if e.Ord != 0 && e.Ord <= s.main.ord {
		return record.Sum{}, fmt.Errorf("entry with ordinal %d after %d: %w", e.Ord, s.main.ord, journal.ErrOrder)
	}
	if _, ok := e.Body.(record.Audit); ok {
		next, err := e.Chain(s.main.link, sums)
		if err != nil {
			return record.Sum{}, err
		}
		s.main.link = next
	}
	sum, err := insertEntry(tx, &e)
	if err != nil {
		return record.Sum{}, err
	}
	s.main.position = e.Position
	s.main.ord = max(s.main.ord, e.Ord)
	return sum, nil
}

// insertEntry returns the sum of what is kept.
func insertEntry(tx *sql.Tx, e *record.Entry) (record.Sum, error) {
	body, err := e.Append(nil)
	if err != nil {
		return record.Sum{}, err
	}
	var ord any
	if e.Ord != 0 {
		ord = int64(e.Ord)
	}
	_, err = tx.Exec("INSERT INTO entries(position, kind, at, ord, place, body) VALUES(?,?,?,?,?,?)",
		int64(e.Position), string(e.Body.Kind()), int64(e.At), ord, e.Place, body)
	return record.SumOf(body), err
}

// page is how many rows are fetched at once. Between pages nothing is locked:
// a slow reader keeps nobody from writing.
const page = 256

// A row is an entry as it lies in the file.
type row struct {
	position int64
	body     []byte
}

// Entries implements journal.Log.
func (s *Store) Entries(ctx context.Context, q journal.Query) iter.Seq2[record.Entry, error] {
	return func(yield func(record.Entry, error) bool) {
		last := s.head.position()
		if q.Last > 0 {
			last = min(last, q.Last)
		}
		from, to := max(int64(q.From), 1), int64(min(last, math.MaxInt64))
		h := &holes{next: from, end: to}
		if q.Newest {
			h.next, h.end = to, from
		}
		for from <= to {
			rows, err := s.entryPage(ctx, &q, from, to)
			if err != nil {
				yield(record.Entry{}, err)
				return
			}
			for _, r := range rows {
				for _, l := range h.saw(&q, r.position) {
					if !yield(record.Entry{}, l) {
						return
					}
				}
				e, err := record.DecodeEntry(r.body)
				if errors.Is(err, record.ErrForm) {
					continue // it was deleted on purpose
				}
				if err == nil && int64(e.Position) != r.position {
					err = fmt.Errorf("entry %d in the place of %d: %w", e.Position, r.position, record.ErrDamaged)
				}
				if err != nil {
					err = &journal.Loss{File: mainName, Source: journal.Entries, First: uint64(r.position), Last: uint64(r.position), Err: err}
					e = record.Entry{}
				} else if !q.Takes(&e) {
					continue // the index said otherwise
				}
				if !yield(e, err) {
					return
				}
			}
			if len(rows) < page {
				for _, l := range h.rest(&q) {
					if !yield(record.Entry{}, l) {
						return
					}
				}
				return
			}
			if q.Newest {
				to = rows[len(rows)-1].position - 1
			} else {
				from = rows[len(rows)-1].position + 1
			}
		}
	}
}

// holes sees which positions are not there, where all are asked for.
type holes struct{ next, end int64 }

// saw returns what is lost before a position. next runs towards end.
func (h *holes) saw(q *journal.Query, position int64) (lost []error) {
	first, last := h.next, position-1
	if q.Newest {
		first, last = position+1, h.next
		h.next = position - 1
	} else {
		h.next = position + 1
	}
	if first > last || len(q.Kinds) > 0 || q.Place != "" || q.Since != 0 || q.Until != 0 {
		return nil
	}
	return []error{&journal.Loss{File: mainName, Source: journal.Entries, First: uint64(first), Last: uint64(last)}}
}

// rest returns what is lost after the last that was seen.
func (h *holes) rest(q *journal.Query) []error {
	if q.Newest {
		return h.saw(q, h.end-1)
	}
	return h.saw(q, h.end+1)
}

func (s *Store) entryPage(ctx context.Context, q *journal.Query, from, to int64) ([]row, error) {
	var text strings.Builder
	text.WriteString("SELECT position, body FROM entries WHERE position >= ? AND position <= ?")
	args := []any{from, to}
	if len(q.Kinds) > 0 {
		text.WriteString(" AND kind IN (?" + strings.Repeat(",?", len(q.Kinds)-1) + ")")
		for _, k := range q.Kinds {
			args = append(args, string(k))
		}
	}
	if q.Place != "" {
		text.WriteString(" AND place = ?")
		args = append(args, q.Place)
	}
	for _, bound := range []struct {
		at sample.Instant
		op string
	}{{q.Since, ">="}, {q.Until, "<"}} {
		if bound.at != 0 {
			text.WriteString(" AND at " + bound.op + " ?")
			args = append(args, int64(bound.at))
		}
	}
	text.WriteString(" ORDER BY position")
	if q.Newest {
		text.WriteString(" DESC")
	}
	fmt.Fprintf(&text, " LIMIT %d", page)
	return collect(ctx, s, text.String(), args, func(r *sql.Rows) (one row, err error) {
		return one, r.Scan(&one.position, &one.body)
	})
}

// collect runs a query of the main file and returns what scan makes of each row.
// A file in which SQLite loses its way is mended, and the query runs again.
func collect[T any](ctx context.Context, s *Store, query string, args []any, scan func(*sql.Rows) (T, error)) ([]T, error) {
	run := func() (all []T, mends int, err error) {
		s.main.use.RLock()
		defer s.main.use.RUnlock()
		if err := s.alive(); err != nil {
			return nil, 0, err
		}
		if s.main.r == nil {
			return nil, s.main.mends, fmt.Errorf("%s could not be opened again: %w", mainName, journal.ErrBroken)
		}
		err = eachRow(ctx, s.main.r, query, args, func(r *sql.Rows) error {
			one, err := scan(r)
			all = append(all, one)
			return err
		})
		return all, s.main.mends, err
	}
	all, mends, err := run()
	if errors.Is(err, errCorrupt) {
		if err := s.mendMain(err, mends); err != nil {
			return nil, err
		}
		all, _, err = run()
	}
	return all, err
}

func scanBody(r *sql.Rows) (body []byte, err error) { return body, r.Scan(&body) }

// eachRow calls each with every row. What each returns is an error of reading the
// row; one that is no damage has no place there.
func eachRow(ctx context.Context, db *sql.DB, query string, args []any, each func(*sql.Rows) error) error {
	rows, err := db.QueryContext(ctx, query, args...)
	if err != nil {
		return translate(err)
	}
	defer rows.Close()
	for rows.Next() {
		if err := each(rows); err != nil {
			if ended := ctx.Err(); ended != nil {
				return ended // the rows are taken away from who no longer waits for them, in the middle of one too
			}
			return fmt.Errorf("%w: %w", errCorrupt, err) // a column is not what it was made to be
		}
	}
	return translate(rows.Err())
}
