package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"maps"
	"slices"

	"weald/stream/journal"
)

// Inputs are read in the order of one index. A damaged byte in it can lead past
// blocks that are there, before the first or after the last that is met, where no
// number tells. The other index, which goes by source and number, does.

var errSkipped = errors.New("an index led past what is there; it can be had again when the file has been mended")

// skipped returns the losses of what was asked for and not met although another
// index has it. It is for the end, after tails.
func (w *watch) skipped(ctx context.Context) []error {
	var lost []error
	for _, one := range w.back.files {
		if one.missing || !one.sum.meets(w.first, w.last) {
			continue
		}
		db, err := w.back.look(one.file)
		if err != nil {
			continue // it was deleted meanwhile
		}
		led := false
		for _, source := range slices.Sorted(maps.Keys(w.heads)) {
			for _, l := range w.ends(ctx, db, source) {
				lost = append(lost, &journal.Loss{File: one.file, Source: source, First: l.first, Last: l.last, Err: errSkipped})
				led = true
			}
		}
		if led { // so that it is whole for whoever asks again
			_ = w.back.s.days.mendSeen(ctx, one.file, errSkipped, w.mends[one.file])
		}
	}
	return lost
}

// ends returns the numbers of a source that a file has for what was asked, before
// the first and after the last that were met. Mostly that is two looks.
func (w *watch) ends(ctx context.Context, db *sql.DB, source string) spans {
	head, seen := w.heads[source], w.seen[source]
	if seen.number == 0 {
		return w.reach(ctx, db, source, 0, head.number)
	}
	var out spans
	at := func(query string, args ...any) (number, ord uint64) {
		_ = eachRow(ctx, db, query, args, func(r *sql.Rows) error {
			var n, o int64
			err := r.Scan(&n, &o)
			number, ord = uint64(n), uint64(o)
			return err
		}) // where nothing can be read, others tell
		return number, ord
	}
	begun := w.begun[source]
	if n, ord := at("SELECT number, last_ord FROM blocks INDEXED BY blocks_source WHERE source = "+sourceNamed+" AND number < ? ORDER BY number DESC LIMIT 1", source, int64(begun)); n > 0 && ord >= w.first {
		out = append(out, w.reach(ctx, db, source, 0, begun-1)...)
	}
	if seen.number >= head.number || head.ord <= w.last {
		return out // tails has told
	}
	if n, ord := at("SELECT number, first_ord FROM blocks INDEXED BY blocks_source WHERE source = "+sourceNamed+" AND number > ? ORDER BY number LIMIT 1", source, int64(seen.number)); n > 0 && n <= head.number && ord <= w.last {
		out = append(out, w.reach(ctx, db, source, seen.number+1, head.number)...)
	}
	return out
}

// reach returns which of the numbers first…last of a source a file has for what
// was asked.
func (w *watch) reach(ctx context.Context, db *sql.DB, source string, first, last uint64) (out spans) {
	_ = eachRow(ctx, db, "SELECT number FROM blocks INDEXED BY blocks_source WHERE source = "+sourceNamed+" AND number BETWEEN ? AND ? AND last_ord >= ? AND first_ord <= ?",
		[]any{source, int64(first), int64(last), int64(w.first), int64(w.last)}, func(r *sql.Rows) error {
			var n int64
			err := r.Scan(&n)
			out.add(uint64(n))
			return err
		})
	return out
}

// beside returns what is lost of a source although its index, when it is gone
// through in the other direction, has it in a file before the first or after the
// last block that was met, and it belongs to what is asked for.
func (w *watch) beside(ctx context.Context, file, source string, met span, sel *selection) []error {
	db, err := w.back.look(file)
	if err != nil {
		return nil
	}
	var led spans
	for _, order := range []string{"< ? ORDER BY number DESC", "> ? ORDER BY number"} {
		edge := met.first
		if order[0] == '>' {
			edge = met.last
		}
		neighbour := "SELECT number, first_at, last_at FROM blocks INDEXED BY blocks_source WHERE source = " + sourceNamed + " AND number " + order
		for _, limit := range []string{" LIMIT 1", ""} { // mostly the one beside tells that there is nothing
			some := spans{}
			_ = eachRow(ctx, db, neighbour+limit, []any{source, int64(edge)}, func(r *sql.Rows) error {
				var n, first, last int64
				err := r.Scan(&n, &first, &last)
				if last >= sel.from && first < sel.to && uint64(n) <= w.heads[source].number {
					some.add(uint64(n))
				}
				return err
			})
			if len(some) == 0 {
				break
			}
			if limit == "" { // with the one behind, whose place in the index may be the damaged one
				some = some.merged()
				led = append(led, span{max(some[0].first, 2) - 1, min(some[len(some)-1].last+1, w.heads[source].number)})
			}
		}
	}
	var lost []error
	for _, r := range led.merged() {
		lost = append(lost, &journal.Loss{File: file, Source: source, First: r.first, Last: r.last, Err: errSkipped})
	}
	if len(lost) > 0 {
		_ = w.back.s.days.mendSeen(ctx, file, errSkipped, w.mends[file])
	}
	return lost
}

// successor returns the number of the block of a source after one with an ordinal,
// and where there is none the one after all.
func (w *watch) successor(ctx context.Context, source string, number, ord uint64) uint64 {
	next := max(w.heads[source].number, number) + 1
	for _, one := range w.back.files {
		if next == number+1 {
			break
		}
		if one.missing || one.sum.lastOrd <= ord {
			continue
		}
		db, err := w.back.look(one.file)
		if err != nil {
			continue
		}
		_ = eachRow(ctx, db, "SELECT min(number) FROM blocks INDEXED BY blocks_source WHERE source = "+sourceNamed+" AND number > ?",
			[]any{source, int64(number)}, func(r *sql.Rows) error {
				var n sql.NullInt64
				err := r.Scan(&n)
				if n.Valid {
					next = min(next, uint64(n.Int64))
				}
				return err
			})
	}
	return next
}

// between returns what is lost of the numbers first…last of a source, which were
// not met in a file: those that no other file has.
func (w *watch) between(ctx context.Context, source, file string, first, last uint64) []error {
	if first > last {
		return nil
	}
	var there spans
	for _, one := range w.back.files {
		if one.file == file || one.missing {
			continue
		}
		if db, err := w.back.look(one.file); err == nil {
			there = append(there, w.reach(ctx, db, source, first, last)...)
		}
	}
	var lost []error
	for _, r := range missing(first, last, source, w.retired, there) {
		lost = append(lost, &journal.Loss{Source: source, First: r.first, Last: r.last})
	}
	return lost
}
