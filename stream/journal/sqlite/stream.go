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
		b.most = math.MaxInt64 // rows have other numbers now
		err = b.fetch(ctx)
	}
	return err
}

// A block whose source has no name is a sign of damage, and must not be left out
// for it: the name comes as NULL, which is an error.
const streamColumns = "b.first_ord, b.number, s.name, b.body FROM blocks b LEFT JOIN sources s ON s.id = b.source"

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
	query := "SELECT " + streamColumns + " WHERE b.first_ord >= ? AND b.first_ord <= ? AND b.last_ord >= ? AND b.id <= ? ORDER BY b.first_ord LIMIT ?"
	args := []any{b.next, int64(b.sel.last), int64(b.sel.first), b.most, blocksAtOnce}
	if b.sel.one {
		query = "SELECT " + streamColumns + ` WHERE b.source = (SELECT id FROM sources WHERE name = ?)
			AND b.first_ord >= ? AND b.first_at < ? AND b.last_at >= ? AND b.id <= ? ORDER BY b.number LIMIT ?`
		args = []any{b.sel.source, b.next, b.sel.to, b.sel.from, b.most, blocksAtOnce}
	}
	err = eachRow(ctx, b.db, query, args, func(r *sql.Rows) error {
		var row blockRow
		var first, number int64
		if err := r.Scan(&first, &number, &row.source, &row.body); err != nil {
			return err
		}
		row.firstOrd, row.number = uint64(first), uint64(number)
		if first < b.next {
			return fmt.Errorf("ordinal %d comes again: %w", first, errCorrupt)
		}
		b.next = first + 1
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
			b.ahead = b.ahead[1:]
			if !yield(row, nil) {
				return
			}
		}
	}
}

// decode returns what is in a row, a block or ticks.
func (r *blockRow) decode() (block *record.Block, ticks *record.Ticks, err error) {
	if r.source == "" {
		ticks, err = record.DecodeTicks(r.body)
		if err == nil && ticks.Number != r.number {
			err = fmt.Errorf("group %d in the place of %d: %w", ticks.Number, r.number, record.ErrDamaged)
		}
		return nil, ticks, err
	}
	block, err = record.DecodeBlock(r.body)
	if err == nil {
		_, r.lastOrd = block.Ords()
		r.after = block.After
	}
	if err == nil && (block.Number != r.number || block.Source != r.source) {
		err = fmt.Errorf("block %d of %s in the place of %d of %s: %w", block.Number, block.Source, r.number, r.source, record.ErrDamaged)
	}
	return block, nil, err
}
