package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"iter"
	"math"
	"slices"

	"weald/stream/journal"
	"weald/stream/record"
)

// A selection picks blocks of a file.
type selection struct {
	first, last uint64 // ordinals that they meet
	source      string // with one set
	one         bool
	from, to    int64 // event times that they meet, with one set
}

// blocksAtOnce is how many blocks of a file are in memory while it is read.
const blocksAtOnce = 32

// A blockStream yields the blocks of one file in the order of their ordinals.
type blockStream struct {
	s    *Store
	file day
	sel  selection
	most int64 // the last row that was there when reading began

	db    *sql.DB
	ahead []blockRow
	next  int64 // ordinals from here on are not fetched yet
	ended bool
	mends int

	// With one set, the numbers that are left to fetch; to is 0 before they are
	// known.
	from, to int64
}

// floor returns an ordinal that no block still to come is below.
func (b *blockStream) floor() uint64 {
	switch {
	case len(b.ahead) > 0:
		return b.ahead[0].firstOrd
	case b.db == nil:
		return b.file.sum.firstOrd // not opened yet: perhaps it need not be
	}
	return uint64(b.next)
}

// fill fetches blocks if none are ahead. It mends the file once if it has to.
func (b *blockStream) fill(ctx context.Context) error {
	if len(b.ahead) > 0 || b.ended {
		return nil
	}
	err := b.fetch(ctx)
	if errors.Is(err, errCorrupt) {
		b.close()
		b.ahead = nil
		if err := b.s.days.mendSeen(ctx, b.file.file, err, b.mends); err != nil {
			return err
		}
		b.most, b.to = math.MaxInt64, 0 // rows have other numbers now
		err = b.fetch(ctx)
	}
	return err
}

// A block whose source has no name is a sign of damage, and must not be left out
// for it: the name comes as NULL, which is an error.
const streamColumns = "b.first_ord, b.number, b.first_at, b.last_at, s.name, b.body FROM blocks b INDEXED BY %s LEFT JOIN sources s ON s.id = b.source"

// sourceNamed is the id of a source. The index of names is not asked: where it is
// damaged, it would say that there is none.
const sourceNamed = "(SELECT id FROM sources NOT INDEXED WHERE name = ?)"

func (b *blockStream) fetch(ctx context.Context) (err error) {
	if err := b.s.alive(); err != nil {
		return err
	}
	if b.db == nil {
		b.mends = b.s.days.mended(b.file.file)
		if b.db, err = connect(b.s.days.path(b.file.file), reading); err != nil {
			return err
		}
	}
	query := fmt.Sprintf("SELECT "+streamColumns, "blocks_ord") + " WHERE b.first_ord >= ? AND b.first_ord <= ? AND b.last_ord >= ? AND b.id <= ? ORDER BY b.first_ord LIMIT ?"
	args := []any{b.next, int64(b.sel.last), int64(b.sel.first), b.most, blocksAtOnce}
	if b.sel.one {
		if err := b.window(ctx); err != nil {
			return err
		}
		query = fmt.Sprintf("SELECT "+streamColumns, "blocks_source") + " WHERE b.source = " + sourceNamed + " AND b.number BETWEEN ? AND ? AND b.id <= ? ORDER BY b.number LIMIT ?"
		args = []any{b.sel.source, b.from, b.to, b.most, blocksAtOnce}
	}
	err = eachRow(ctx, b.db, query, args, func(r *sql.Rows) error {
		row := blockRow{file: b.file.file}
		var first, number int64
		if err := r.Scan(&first, &number, &row.firstAt, &row.lastAt, &row.source, &row.body); err != nil {
			return err
		}
		row.firstOrd, row.number = uint64(first), uint64(number)
		if first < b.next {
			return fmt.Errorf("ordinal %d comes again: %w", first, errCorrupt)
		}
		if err := row.decode(); err != nil {
			return err
		}
		b.next, b.from = first+1, number+1
		b.ahead = append(b.ahead, row)
		return nil
	})
	if err != nil {
		if len(b.ahead) > 0 {
			b.next = int64(b.ahead[0].firstOrd) // all of them again, from the mended file
		}
		return err
	}
	b.ended = len(b.ahead) < blocksAtOnce
	return nil
}

// window finds out which blocks of one source to read, by number: all from the
// first that does not end before what is asked for to the last that does not begin
// after it, and one more at each end. The index may be wrong about any of them;
// what it says is then held against the block itself, and the numbers have to come
// without holes.
func (b *blockStream) window(ctx context.Context) error {
	if b.to != 0 {
		return nil
	}
	err := eachRow(ctx, b.db, `WITH mine AS (SELECT number, first_at, last_at FROM blocks INDEXED BY blocks_source WHERE source = `+sourceNamed+`),
		edge AS (SELECT (SELECT min(number) FROM mine WHERE last_at >= ?) AS a, (SELECT max(number) FROM mine WHERE first_at < ?) AS b),
		core AS (SELECT min(coalesce(a, b), coalesce(b, a)) AS low, max(coalesce(a, b), coalesce(b, a)) AS high FROM edge)
		SELECT coalesce((SELECT max(number) FROM mine WHERE number < low), low, 0),
			coalesce((SELECT min(number) FROM mine WHERE number > high), high, -1) FROM core`,
		[]any{b.sel.source, b.sel.from, b.sel.to}, func(r *sql.Rows) error {
			var from int64
			err := r.Scan(&from, &b.to)
			b.from = max(b.from, from)
			return err
		})
	if err != nil || b.to >= b.from {
		return err
	}
	// Nothing of it, in a file that has something of that time. An index that leads
	// nowhere says the same, so all of it is gone through.
	return eachRow(ctx, b.db, "SELECT count(*) FROM blocks INDEXED BY blocks_source WHERE +source = "+sourceNamed, []any{b.sel.source}, func(r *sql.Rows) error {
		var n int
		err := r.Scan(&n)
		if err == nil && n > 0 {
			err = fmt.Errorf("there are %d blocks of %s, and its index finds none", n, b.sel.source)
		}
		return err
	})
}

func (b *blockStream) close() {
	if b.db != nil {
		b.db.Close()
		b.db = nil
	}
}

// streams opens the blocks that sel picks from all files that meet want.
func (s *Store) streams(ctx context.Context, sel selection, want func(*summary) bool) ([]*blockStream, []error) {
	var all []*blockStream
	var lost []error
	for _, one := range s.days.list() {
		switch {
		case !want(&one.sum):
			continue
		case one.missing:
			lost = append(lost, &journal.Loss{File: one.file, Source: "all sources", Err: errors.New("the file is missing")})
			continue
		}
		b := &blockStream{s: s, file: one, sel: sel, most: math.MaxInt64}
		if sel.first > one.sum.widest {
			b.next = int64(sel.first - one.sum.widest)
		}
		all = append(all, b)
	}
	return all, lost
}

// merge yields the blocks of streams in the order of their ordinals. A stream
// that cannot go on is told, and the others go on.
func merge(ctx context.Context, streams []*blockStream) iter.Seq2[blockRow, error] {
	return func(yield func(blockRow, error) bool) {
		defer func() {
			for _, b := range streams {
				b.close()
			}
		}()
		for len(streams) > 0 {
			at := 0
			for i, b := range streams {
				if b.floor() < streams[at].floor() {
					at = i
				}
			}
			b := streams[at]
			if len(b.ahead) == 0 {
				err := b.fill(ctx)
				if ctx.Err() != nil {
					yield(blockRow{}, context.Cause(ctx))
					return
				}
				if err != nil && !yield(blockRow{}, &journal.Loss{File: b.file.file, Source: "all sources", Err: err}) {
					return
				}
				if err != nil || len(b.ahead) == 0 {
					b.close()
					streams = slices.Delete(streams, at, at+1)
				}
				continue // it may not be the least any more
			}
			row := b.ahead[0]
			b.ahead[0] = blockRow{} // holds on to nothing
			b.ahead = b.ahead[1:]
			row.unpack()
			if !yield(row, nil) {
				return
			}
		}
	}
}

// unpack has the readings of a block. As late as that, they are still at hand where
// they are read next.
func (r *blockRow) unpack() {
	if r.block == nil {
		return
	}
	if err := r.block.Unpack(); err != nil {
		r.block, r.err = nil, err
	}
}

// decode looks at what is in a row, a block but for its readings or ticks, and notes
// it, or what is wrong with it. It returns an error if the row or its index says something else
// than what is whole in it: then they may be wrong about others too.
func (r *blockRow) decode() error {
	whole := blockRow{}
	r.block, r.ticks, r.err = nil, nil, nil
	if r.source == "" {
		if r.ticks, r.err = record.DecodeTicks(r.body); r.err == nil && r.ticks.Number != r.number {
			r.err = fmt.Errorf("group %d in the place of %d: %w", r.ticks.Number, r.number, record.ErrDamaged)
		}
	} else {
		if r.block, r.err = record.OpenBlock(r.body); r.err == nil && (r.block.Number != r.number || r.block.Source != r.source) {
			r.err = fmt.Errorf("block %d of %s in the place of %d of %s: %w", r.block.Number, r.block.Source, r.number, r.source, record.ErrDamaged)
		}
	}
	if r.err != nil {
		return nil // it is lost, and told
	}
	if r.block != nil {
		r.after = r.block.After
		whole.firstOrd, r.lastOrd = r.block.Ords()
		whole.firstAt, whole.lastAt = r.block.Span()
	} else {
		whole.firstOrd, r.lastOrd = r.ticks.Ords()
		whole.firstAt, whole.lastAt = r.ticks.Span()
	}
	if whole.firstOrd != r.firstOrd || whole.firstAt != r.firstAt || whole.lastAt != r.lastAt {
		return fmt.Errorf("the index of block %d of %q contradicts it", r.number, r.source)
	}
	return nil
}
