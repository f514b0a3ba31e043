package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"

	"weald/stream/journal"
	"weald/stream/record"
)

// A batch is what one call brings, on its way into rows.
type batch struct {
	days    *days
	file    string // where the rows go
	heads   map[string]sourceHead
	rows    []blockRow
	numbers []uint64 // of the blocks, in order
}

// block makes a row of what is new in a block: the whole of it, or a kept block
// that grows, or, where that one is not the last or lies in another file, the
// scans that follow it.
func (b *batch) block(ctx context.Context, block *record.Block) error {
	rest := *block
	for {
		first, _ := rest.Ords()
		h := b.heads[rest.Source]
		if first > h.ord {
			rest.Number, rest.After = h.number+1, h.ord
			return b.put(&rest, false)
		}
		body, file, err := b.kept(ctx, rest.Source, first)
		if err != nil {
			return err
		}
		was, err := record.DecodeBlock(body)
		switch {
		case err != nil:
			return b.outOfOrder(rest.Source, first)
		case rest.Begins(was):
			b.numbers = append(b.numbers, was.Number)
			return nil
		case !was.Begins(&rest):
			return b.outOfOrder(rest.Source, first)
		case was.Number == h.number && file == b.file:
			rest.Number, rest.After = was.Number, was.After
			return b.put(&rest, true)
		}
		rest.Scans = rest.Scans[len(was.Scans):]
	}
}

// put makes a row of a block that has its number.
func (b *batch) put(block *record.Block, grows bool) error {
	body, err := block.Append(nil)
	if err != nil {
		return err
	}
	r := blockRow{source: block.Source, number: block.Number, body: body, grows: grows}
	r.firstOrd, r.lastOrd = block.Ords()
	r.firstAt, r.lastAt = block.Span()
	b.numbers = append(b.numbers, r.number)
	b.add(r)
	return nil
}

// ticks makes a row of what is new in a group: of ticks that were kept in groups before,
// what follows them.
func (b *batch) ticks(ctx context.Context, group *record.Ticks) error {
	first, last := group.Ords()
	for first <= b.heads[""].ord {
		body, _, err := b.kept(ctx, "", first)
		if err != nil {
			return err
		}
		was, err := record.DecodeTicks(body)
		if err != nil {
			return b.outOfOrder("", first)
		}
		n := min(len(was.Ticks), len(group.Ticks))
		if !slices.Equal(was.Ticks[:n], group.Ticks[:n]) {
			return b.outOfOrder("", first)
		}
		if group.Ticks = group.Ticks[n:]; len(group.Ticks) == 0 {
			return nil
		}
		first, last = group.Ords()
	}
	group.Number = b.heads[""].number + 1
	body, err := group.Append(nil)
	if err != nil {
		return err
	}
	from, to := group.Span()
	b.add(blockRow{number: group.Number, firstOrd: first, lastOrd: last, firstAt: from, lastAt: to, body: body})
	return nil
}

// add takes a row in. One of this call that grows once more is replaced.
func (b *batch) add(r blockRow) {
	b.heads[r.source] = sourceHead{r.number, max(r.lastOrd, b.heads[r.source].ord)}
	if i := b.row(r.source, r.firstOrd); i >= 0 {
		r.grows = b.rows[i].grows
		b.rows[i] = r
		return
	}
	b.rows = append(b.rows, r)
}

// row returns which row of this call begins with an ordinal, -1 for none.
func (b *batch) row(source string, first uint64) int {
	return slices.IndexFunc(b.rows, func(r blockRow) bool { return r.firstOrd == first && r.source == source })
}

// kept returns what was kept of a source from an ordinal on, and in which file;
// nil if nothing begins there.
func (b *batch) kept(ctx context.Context, source string, first uint64) (body []byte, file string, err error) {
	if i := b.row(source, first); i >= 0 {
		return b.rows[i].body, b.file, nil
	}
	// What grows is in the file that is written to: the others need not be looked at.
	if one, known := b.days.get(b.file); known {
		if body, err = b.days.find(ctx, one, source, first); body != nil || err != nil {
			return body, b.file, err
		}
	}
	for _, one := range b.days.list() {
		if one.file == b.file {
			continue
		}
		if body, err = b.days.find(ctx, one, source, first); body != nil || err != nil {
			return body, one.file, err
		}
	}
	return nil, "", nil
}

func (b *batch) outOfOrder(source string, first uint64) error {
	name := source
	if source == "" {
		name = "the ticks"
	}
	return fmt.Errorf("ordinal %d of %s, which has come to %d: %w", first, name, b.heads[source].ord, journal.ErrOrder)
}

// find returns the body that begins with an ordinal, nil if there is none. The
// caller holds write.
func (d *days) find(ctx context.Context, one day, source string, first uint64) ([]byte, error) {
	if one.missing || !one.sum.meets(first, first) {
		return nil, nil
	}
	body, err := d.findOnce(ctx, one.file, source, first)
	if errors.Is(err, errCorrupt) {
		if err := d.mend(lasting(ctx), one.file, err); err != nil {
			return nil, err
		}
		body, err = d.findOnce(ctx, one.file, source, first)
	}
	return body, err
}

func (d *days) findOnce(ctx context.Context, file, source string, first uint64) (body []byte, err error) {
	db := d.w
	if file != d.current {
		if db, err = connect(d.path(file), reading); err != nil {
			return nil, err
		}
		defer db.Close()
	}
	err = eachRow(ctx, db, "SELECT b.body FROM blocks b JOIN sources s ON s.id = b.source WHERE b.first_ord = ? AND s.name = ?",
		[]any{int64(first), source}, func(r *sql.Rows) error { return r.Scan(&body) })
	return body, err
}
