package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"iter"
	"maps"
	"path/filepath"
	"slices"

	"weald/stream/journal"
	"weald/stream/record"
)

// A vault is a record to be checked: one in use, or a backup.
type vault struct {
	dir     string
	connect func(path string) (*sql.DB, error)
	head    journal.Head
	heads   map[string]sourceHead
	days    []day
}

// Check implements journal.Journal. It reads all files from front to back, while
// the store goes on; what is kept meanwhile it does not see. Behind that it tells
// what KeepMended ever kept.
func (s *Store) Check(ctx context.Context) iter.Seq2[journal.Finding, error] {
	return func(yield func(journal.Finding, error) bool) {
		if err := s.alive(); err != nil {
			yield(journal.Finding{}, err)
			return
		}
		s.days.write.Lock()
		v := vault{dir: s.dir, connect: func(path string) (*sql.DB, error) { return connect(path, reading) },
			head: s.head.now(), heads: maps.Clone(s.days.heads), days: s.days.list()}
		s.days.write.Unlock()
		more := true
		v.check(ctx, func(f journal.Finding, err error) bool {
			more = yield(f, err) && err == nil
			return more
		})
		if !more {
			return
		}
		for f, err := range s.faults(ctx) {
			if !yield(f, err) {
				return
			}
		}
	}
}

// A checker collects what is there while it reads.
type checker struct {
	*vault
	ctx     context.Context
	yield   func(journal.Finding, error) bool
	stopped bool
	retired []record.Retired
	blocks  map[string]spans // by source, those that are there or were told to be lost
	ends    map[string]*ends // by source
	entries spans
}

func (v *vault) check(ctx context.Context, yield func(journal.Finding, error) bool) {
	c := &checker{vault: v, ctx: ctx, yield: yield, blocks: map[string]spans{}, ends: map[string]*ends{}}
	c.mainFile()
	for _, one := range v.days {
		if !c.stopped {
			c.day(one)
		}
	}
	if c.stopped {
		return
	}
	for _, r := range missing(1, uint64(v.head.Position), journal.Entries, nil, c.entries) {
		c.lost(journal.Loss{File: mainName, Source: journal.Entries, First: r.first, Last: r.last})
	}
	for _, source := range slices.Sorted(maps.Keys(v.heads)) {
		for _, r := range missing(1, v.heads[source].number, source, c.retired, c.blocks[source]) {
			c.lost(journal.Loss{Source: source, First: r.first, Last: r.last})
		}
	}
	for _, source := range slices.Sorted(maps.Keys(c.ends)) {
		h := v.heads[source]
		c.ends[source].state(h.number, h.ord)
		for _, l := range c.ends[source].short(source) {
			c.lost(l)
		}
	}
}

// end takes note of where a block ends. One that came after the check began may
// state the end of a block that was read before it grew.
func (c *checker) end(r *blockRow) {
	if r.number > c.heads[r.source].number {
		return
	}
	if c.ends[r.source] == nil {
		c.ends[r.source] = &ends{there: map[uint64]uint64{}, ought: map[uint64]uint64{}}
	}
	c.ends[r.source].saw(r)
}

func (c *checker) tell(f journal.Finding) {
	if !c.stopped && !c.yield(f, nil) {
		c.stopped = true
	}
}

func (c *checker) lost(l journal.Loss) {
	c.tell(journal.Finding{Trouble: journal.Lost, Loss: l, Text: l.Error()})
}

func (c *checker) fail(err error) {
	if !c.stopped {
		c.yield(journal.Finding{}, err)
		c.stopped = true
	}
}

// structure tells what SQLite itself finds wrong with a file. It reports whether
// the file can be read by way of its tree.
func (c *checker) structure(db *sql.DB, file string) bool {
	good := true
	err := eachRow(c.ctx, db, "PRAGMA integrity_check(8)", nil, func(r *sql.Rows) error {
		var text string
		err := r.Scan(&text)
		if err == nil && text != "ok" {
			good = false
			c.tell(journal.Finding{Trouble: journal.Structure, Loss: journal.Loss{File: file}, Text: file + ": " + text})
		}
		return err
	})
	return c.outcome(err, file) && good
}

// outcome tells an error of reading a file. It reports whether there was none.
func (c *checker) outcome(err error, file string) bool {
	switch {
	case c.stopped || err == nil:
		return err == nil && !c.stopped
	case errors.Is(err, errCorrupt):
		c.tell(journal.Finding{Trouble: journal.Structure, Loss: journal.Loss{File: file, Err: err}, Text: file + ": " + err.Error()})
	default:
		c.fail(fmt.Errorf("%s: %w", file, err))
	}
	return false
}

// raw reads a file page by page, without its tree, and calls each with every
// whole body. What the tree has lost is not lost.
func (c *checker) raw(file string, each func(body []byte)) {
	path := filepath.Join(c.dir, file)
	p, err := openPages(path, path+"-wal")
	if err != nil {
		c.fail(err)
		return
	}
	defer p.close()
	for body, err := range p.bodies(p.frames, true) {
		if err != nil || c.ctx.Err() != nil {
			c.fail(errors.Join(err, context.Cause(c.ctx)))
			return
		}
		each(body)
	}
}

// walk calls each with all rows of a query that takes the last row of the page
// before, and how many.
func (c *checker) walk(db *sql.DB, file, query string, each func(*sql.Rows) (last int64, err error)) bool {
	for from := int64(-1); ; {
		n := 0
		err := eachRow(c.ctx, db, query, []any{from, page}, func(r *sql.Rows) error {
			last, err := each(r)
			if err == nil && last <= from {
				err = fmt.Errorf("row %d comes after row %d", last, from)
			}
			from = last
			n++
			return err
		})
		if !c.outcome(err, file) {
			return false
		}
		if n < page {
			return true
		}
	}
}

func (c *checker) day(one day) {
	if one.missing {
		c.tell(journal.Finding{Trouble: journal.Lost, Loss: journal.Loss{File: one.file, Source: "all sources", Err: errors.New("the file is missing")},
			Text: fmt.Sprintf("%s is missing; it had %d blocks, with the ordinals from %d to %d", one.file, one.sum.blocks, one.sum.firstOrd, one.sum.lastOrd)})
		return
	}
	db, err := c.connect(filepath.Join(c.dir, one.file))
	if err != nil {
		c.fail(err)
		return
	}
	defer db.Close()
	whole := c.structure(db, one.file)
	if c.stopped {
		return
	}
	found := map[string]spans{}
	broken := map[string]map[uint64]error{} // by source and number, as the columns say
	whole = c.walk(db, one.file, `SELECT b.id, coalesce(s.name, '?'), b.number, b.first_ord, b.last_ord, b.first_at, b.last_at, b.body
		FROM blocks b LEFT JOIN sources s ON s.id = b.source WHERE b.id > ? ORDER BY b.id LIMIT ?`, func(r *sql.Rows) (int64, error) {
		return c.block(r, one.file, found, broken)
	}) && whole
	if !whole && !c.stopped {
		longest := map[string]map[uint64]blockRow{} // of all versions that lie about
		c.raw(one.file, func(body []byte) {
			r, ok := rowOf(body)
			if !ok {
				return
			}
			numbers := found[r.source]
			numbers.add(r.number)
			found[r.source] = numbers
			if longest[r.source] == nil {
				longest[r.source] = map[uint64]blockRow{}
			}
			if r.body = nil; r.lastOrd >= longest[r.source][r.number].lastOrd {
				longest[r.source][r.number] = r
			}
		})
		for _, rows := range longest {
			for _, r := range rows {
				c.end(&r)
			}
		}
	}
	for source, numbers := range found {
		c.blocks[source] = append(c.blocks[source], numbers...).merged()
	}
	for _, source := range slices.Sorted(maps.Keys(broken)) {
		for _, number := range slices.Sorted(maps.Keys(broken[source])) {
			if len(missing(number, number, source, nil, c.blocks[source])) == 0 || number > c.heads[source].number {
				continue // it was found elsewhere, or the columns are wrong too
			}
			c.lost(journal.Loss{File: one.file, Source: source, First: number, Last: number, Err: broken[source][number]})
			c.blocks[source] = append(c.blocks[source], span{number, number}).merged()
		}
	}
}

// block looks at one row of a file of readings.
func (c *checker) block(r *sql.Rows, file string, found map[string]spans, broken map[string]map[uint64]error) (int64, error) {
	var id, number, firstOrd, lastOrd, firstAt, lastAt int64
	var source string
	var body sql.RawBytes
	if err := r.Scan(&id, &source, &number, &firstOrd, &lastOrd, &firstAt, &lastAt, &body); err != nil {
		return id, err
	}
	row, ok := rowOf(body)
	if !ok {
		_, err := record.FormOf(body)
		if broken[source] == nil {
			broken[source] = map[uint64]error{}
		}
		broken[source][uint64(number)] = err
		return id, nil
	}
	numbers := found[row.source]
	numbers.add(row.number)
	found[row.source] = numbers
	c.end(&row)
	if row.source != source || int64(row.number) != number || int64(row.firstOrd) != firstOrd || int64(row.lastOrd) != lastOrd ||
		int64(row.firstAt) != firstAt || int64(row.lastAt) != lastAt {
		c.tell(journal.Finding{Trouble: journal.Structure, Loss: journal.Loss{File: file, Source: row.source, First: row.number, Last: row.number},
			Text: fmt.Sprintf("%s: the index of block %d of %q contradicts it", file, row.number, row.source)})
	}
	return id, nil
}
