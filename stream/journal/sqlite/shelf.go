package sqlite

import (
	"context"
	"database/sql"
	"fmt"
	"iter"
	"math"
	"unicode/utf8"

	"weald/stream/journal"
	"weald/stream/record"
)

// PutDocument implements journal.Shelf.
func (s *Store) PutDocument(ctx context.Context, d record.Document) (uint64, error) {
	if err := s.mayWrite(ctx); err != nil {
		return 0, err
	}
	after := d.Version
	d.Version++
	body, err := d.Append(nil)
	if err != nil {
		return 0, err
	}
	r := &request{do: func(tx *sql.Tx) error {
		var newest int64
		err := tx.QueryRow("SELECT coalesce(max(version), 0) FROM documents WHERE name = ?", d.Name).Scan(&newest)
		if err != nil {
			return err
		}
		if uint64(newest) != after {
			return fmt.Errorf("document %s is at version %d, not %d: %w", d.Name, newest, after, journal.ErrConflict)
		}
		return insertDocument(tx, &d, body)
	}}
	if err := s.write(ctx, s.follows(ctx, r)); err != nil {
		return 0, err
	}
	return d.Version, nil
}

func insertDocument(tx *sql.Tx, d *record.Document, body []byte) error {
	_, err := tx.Exec("INSERT INTO documents(name, version, written, gone, body) VALUES(?,?,?,?,?)",
		d.Name, int64(d.Version), int64(d.Written), d.Body == nil, body)
	return err
}

// Document implements journal.Shelf.
func (s *Store) Document(ctx context.Context, name string, version uint64) (record.Document, error) {
	query, args := "SELECT body FROM documents WHERE name = ? ORDER BY version DESC LIMIT 1", []any{name}
	if version > 0 {
		query, args = "SELECT body FROM documents WHERE name = ? AND version = ?", []any{name, int64(min(version, math.MaxInt64))}
	}
	bodies, err := collect(ctx, s, query, args, scanBody)
	if err != nil {
		return record.Document{}, err
	}
	if len(bodies) == 0 {
		return record.Document{}, fmt.Errorf("document %s: %w", name, journal.ErrNotFound)
	}
	d, err := record.DecodeDocument(bodies[0])
	if err != nil {
		return record.Document{}, &journal.Loss{File: mainName, Source: "document " + name, Err: err}
	}
	if version == 0 && d.Body == nil {
		return record.Document{}, fmt.Errorf("document %s was taken away: %w", name, journal.ErrNotFound)
	}
	return d, nil
}

// Documents implements journal.Shelf.
func (s *Store) Documents(ctx context.Context, prefix string) iter.Seq2[record.Document, error] {
	const query = `SELECT name, gone, body FROM documents d
		WHERE name >= ? AND name < ? AND substr(name, 1, ?) = ?
		AND version = (SELECT max(version) FROM documents WHERE name = d.name) ORDER BY name LIMIT ?`
	type sheet struct {
		name string
		gone bool
		body []byte
	}
	return func(yield func(record.Document, error) bool) {
		from := prefix
		for { // no text has a byte 0xff, so that bytes order all that begin alike before it
			args := []any{from, prefix + "\xff", utf8.RuneCountInString(prefix), prefix, page}
			sheets, err := collect(ctx, s, query, args, func(r *sql.Rows) (one sheet, err error) {
				return one, r.Scan(&one.name, &one.gone, &one.body)
			})
			if err != nil {
				yield(record.Document{}, err)
				return
			}
			for _, sheet := range sheets {
				if sheet.gone {
					continue
				}
				d, err := record.DecodeDocument(sheet.body)
				if err != nil {
					d, err = record.Document{}, &journal.Loss{File: mainName, Source: "document " + sheet.name, Err: err}
				}
				if !yield(d, err) {
					return
				}
			}
			if len(sheets) < page {
				return
			}
			from = sheets[len(sheets)-1].name + "\x00" // the least name after it
		}
	}
}

// Snapshots are held so that a damaged one has a predecessor.
const snapshotsHeld = 4

// PutSnapshot implements journal.Inputs.
func (s *Store) PutSnapshot(ctx context.Context, n record.Snapshot) error {
	if err := s.mayWrite(ctx); err != nil {
		return err
	}
	if last := s.head.now().Ord; n.Ord > last {
		return fmt.Errorf("snapshot up to %d, inputs were kept up to %d: %w", n.Ord, last, journal.ErrOrder)
	}
	body, err := n.Append(nil)
	if err != nil {
		return err
	}
	return s.write(ctx, s.follows(ctx, &request{do: func(tx *sql.Tx) error {
		if err := insertSnapshot(tx, &n, body); err != nil {
			return err
		}
		_, err := tx.Exec("DELETE FROM snapshots WHERE ord NOT IN (SELECT ord FROM snapshots ORDER BY ord DESC LIMIT ?)", snapshotsHeld)
		return err
	}}))
}

func insertSnapshot(tx *sql.Tx, n *record.Snapshot, body []byte) error {
	_, err := tx.Exec("INSERT OR REPLACE INTO snapshots(ord, body) VALUES(?,?)", int64(n.Ord), body)
	return err
}

// Snapshot implements journal.Inputs.
func (s *Store) Snapshot(ctx context.Context, last uint64) (record.Snapshot, error) {
	var bad error
	for {
		bodies, err := collect(ctx, s, "SELECT ord, body FROM snapshots WHERE ord <= ? ORDER BY ord DESC LIMIT 1",
			[]any{int64(min(last, math.MaxInt64))}, func(r *sql.Rows) (one row, err error) { return one, r.Scan(&one.position, &one.body) })
		switch {
		case err != nil:
			return record.Snapshot{}, err
		case len(bodies) == 0 && bad != nil:
			return record.Snapshot{}, fmt.Errorf("snapshot: %w: %w", bad, journal.ErrNotFound)
		case len(bodies) == 0:
			return record.Snapshot{}, fmt.Errorf("snapshot: %w", journal.ErrNotFound)
		}
		n, err := record.DecodeSnapshot(bodies[0].body)
		if err == nil {
			return n, nil
		}
		if bad = err; bodies[0].position == 0 {
			return record.Snapshot{}, fmt.Errorf("snapshot: %w: %w", bad, journal.ErrNotFound)
		}
		last = uint64(bodies[0].position) - 1 // an older one will do: more is judged again
	}
}
