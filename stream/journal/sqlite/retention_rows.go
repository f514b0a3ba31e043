package sqlite

import (
	"context"
	"database/sql"
	"fmt"
	"math"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/record"
)

// A ledger is a class of rows of the main file that get old in one direction.
type ledger struct {
	from    string // the rows, as the rest of a statement after FROM
	args    []any
	mark    string // what orders them
	earlier string // an expression: when a row is from, or with window set its window
	table   string
	tier    record.Tier
	kind    record.Kind
}

// ledgerOf returns how a class lies in the main file, without what came after the row
// that was seen last: it can be as old as what was there, or make a former version of
// what was the newest.
func ledgerOf(class journal.Class, seen int64) (ledger, error) {
	tiers := map[journal.Class]record.Tier{journal.Seconds: record.Second, journal.Minutes: record.Minute, journal.Quarters: record.Quarter}
	if kind := class.Kind(); kind != "" {
		return ledger{from: "entries WHERE kind = ?", args: []any{string(kind)}, mark: "position", earlier: "at", table: "entries", kind: kind}, nil
	}
	if tier, ok := tiers[class]; ok {
		return ledger{from: "history WHERE tier = ? AND id <= ?", args: []any{int64(tier), seen}, mark: "window", earlier: "window", table: "history", tier: tier}, nil
	}
	if class == journal.Former {
		return ledger{from: "documents d WHERE version < (SELECT max(version) FROM documents WHERE name = d.name AND id <= ?)", args: []any{seen}, mark: "id", earlier: "written", table: "documents"}, nil
	}
	return ledger{}, fmt.Errorf("class %q: %w", class, journal.ErrNotFound)
}

// planRows finds how far a class has to go.
func (s *Store) planRows(ctx context.Context, class journal.Class, limit journal.Limit, now sample.Instant) (journal.Deletion, error) {
	l, err := ledgerOf(class, 0)
	if err != nil {
		return journal.Deletion{}, err
	}
	seen := int64(0)
	if l.kind == "" {
		all, err := collect(ctx, s, "SELECT coalesce(max(id), 0) FROM "+l.table, nil, func(r *sql.Rows) (n int64, err error) { return n, r.Scan(&n) })
		if err != nil {
			return journal.Deletion{}, err
		}
		seen = all[0]
		l, _ = ledgerOf(class, seen) // there is such a class
	}
	upTo := int64(math.MinInt64)
	number := func(query string, args ...any) (int64, error) {
		all, err := collect(ctx, s, query, append(args, l.args...), func(r *sql.Rows) (n int64, err error) { return n, r.Scan(&n) })
		if err != nil || len(all) == 0 {
			return math.MinInt64, err
		}
		return all[0], nil
	}
	if limit.Age > 0 {
		cutoff := int64(now.Add(-limit.Age))
		if l.tier != 0 {
			cutoff = window(l.tier, sample.Instant(cutoff))
		}
		// Up to the first that has to stay: what came late is not in its way.
		upTo, err = number("SELECT coalesce(min(CASE WHEN "+l.earlier+" >= ? THEN "+l.mark+" END) - 1, max("+l.mark+"), ?) FROM "+l.from, cutoff, int64(math.MinInt64))
		if err != nil {
			return journal.Deletion{}, err
		}
	}
	if limit.Bytes > 0 {
		most, err := number("SELECT mark FROM (SELECT " + l.mark + " AS mark, sum(length(body)) OVER (ORDER BY " + l.mark + " DESC) AS total FROM " + l.from + ") WHERE total > " + fmt.Sprint(limit.Bytes) + " ORDER BY mark DESC LIMIT 1")
		if err != nil {
			return journal.Deletion{}, err
		}
		upTo = max(upTo, most)
	}
	if l.kind != "" && limit.Spare > 0 {
		upTo = min(upTo, int64(min(limit.Spare-1, math.MaxInt64)))
	}
	d := journal.Deletion{Class: class, UpTo: upTo, Seen: seen}
	query := "SELECT count(*), coalesce(sum(length(body)), 0), coalesce(min(" + l.earlier + "), 0), coalesce(max(" + l.earlier + "), 0) FROM " + l.from + " AND " + l.mark + " <= ?"
	_, err = collect(ctx, s, query, append(l.args, upTo), func(r *sql.Rows) (struct{}, error) {
		var from, to int64
		err := r.Scan(&d.Count, &d.Bytes, &from, &to)
		d.From, d.To = sample.Instant(from), sample.Instant(to)
		if l.tier != 0 && d.Count > 0 {
			d.From, d.To = d.From*windowOf(l.tier), (d.To+1)*windowOf(l.tier)-1
		}
		return struct{}{}, err
	})
	return d, err
}

// retiredAtOnce is how many rows go in one transaction: entries that wait for it
// must not wait for long.
const retiredAtOnce = 500

// retireRows deletes the rows of a class up to a mark, some at a time.
func (s *Store) retireRows(ctx context.Context, d journal.Deletion) error {
	l, err := ledgerOf(d.Class, d.Seen)
	if err != nil {
		return err
	}
	key := "id"
	if l.kind != "" {
		key = "position"
	}
	for {
		ids, err := collect(ctx, s, "SELECT "+key+" FROM "+l.from+" AND "+l.mark+" <= ? LIMIT ?", append(l.args, d.UpTo, retiredAtOnce),
			func(r *sql.Rows) (n int64, err error) { return n, r.Scan(&n) })
		if err != nil || len(ids) == 0 {
			return err
		}
		err = s.write(ctx, &request{reserved: true, do: func(tx *sql.Tx) error {
			for _, id := range ids {
				var err error
				if l.kind != "" {
					err = erase(tx, "INSERT OR REPLACE", record.Position(id))
				} else {
					_, err = tx.Exec("DELETE FROM "+l.table+" WHERE id = ?", id)
				}
				if err != nil {
					return err
				}
			}
			return nil
		}})
		if err != nil {
			return err
		}
	}
}
