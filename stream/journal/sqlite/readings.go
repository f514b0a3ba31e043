package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"math"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/record"
)

// AppendReadings implements journal.Inputs.
func (s *Store) AppendReadings(ctx context.Context, blocks []record.Block, ticks []record.Tick) error {
	if len(blocks) == 0 && len(ticks) == 0 {
		return s.usable()
	}
	arrived := sample.Past
	for i := range blocks {
		if err := blocks[i].Check(); err != nil {
			return err
		}
		if _, last := blocks[i].Ords(); last > math.MaxInt64 {
			return fmt.Errorf("block of %q with ordinal %d %w", blocks[i].Source, last, record.ErrInvalid)
		}
		for k := range blocks[i].Scans {
			arrived = max(arrived, blocks[i].Scans[k].Arrived)
		}
	}
	group := record.Ticks{Ticks: ticks}
	if len(ticks) > 0 {
		if err := group.Check(); err != nil {
			return err
		}
		if _, last := group.Ords(); last > math.MaxInt64 {
			return fmt.Errorf("tick with ordinal %d %w", last, record.ErrInvalid)
		}
		if len(blocks) == 0 {
			for _, t := range ticks {
				arrived = max(arrived, t.At)
			}
		}
	}

	d := &s.days
	d.write.Lock()
	defer d.write.Unlock()
	if err := ctx.Err(); err != nil {
		return context.Cause(ctx)
	}
	if err := s.resume(); err != nil {
		return err
	}
	b := batch{days: d, heads: maps.Clone(d.heads)}
	for i := range blocks {
		if err := b.block(ctx, &blocks[i]); err != nil {
			return err
		}
	}
	if len(ticks) > 0 {
		if err := b.ticks(ctx, &group); err != nil {
			return err
		}
	}
	if len(b.rows) > 0 {
		if err := d.keep(lasting(ctx), dayFile(arrived), b.rows); err != nil {
			return err
		}
	}
	d.raiseAll(b.heads)
	for i, n := range b.numbers {
		blocks[i].Number = n
	}
	return nil
}

// A batch is what one call brings, on its way into rows.
type batch struct {
	days    *days
	heads   map[string]sourceHead
	rows    []blockRow
	numbers []uint64 // of the blocks, in order
}

// block numbers a block and makes a row of it, or finds that it was kept before.
func (b *batch) block(ctx context.Context, block *record.Block) error {
	first, last := block.Ords()
	if kept, err := b.repeated(ctx, block.Source, first, func(body []byte) (uint64, bool) {
		was, err := record.DecodeBlock(body)
		if err != nil || !was.Equal(block) {
			return 0, false
		}
		return was.Number, true
	}); kept != 0 || err != nil {
		b.numbers = append(b.numbers, kept)
		return err
	}
	copied := *block
	copied.Number = b.heads[block.Source].number + 1
	body, err := copied.Append(nil)
	if err != nil {
		return err
	}
	from, to := block.Span()
	b.numbers = append(b.numbers, copied.Number)
	b.add(blockRow{block.Source, copied.Number, first, last, from, to, body})
	return nil
}

func (b *batch) ticks(ctx context.Context, group *record.Ticks) error {
	first, last := group.Ords()
	if kept, err := b.repeated(ctx, "", first, func(body []byte) (uint64, bool) {
		was, err := record.DecodeTicks(body)
		if err != nil || len(was.Ticks) != len(group.Ticks) {
			return 0, false
		}
		for i := range was.Ticks {
			if was.Ticks[i] != group.Ticks[i] {
				return 0, false
			}
		}
		return was.Number, true
	}); kept != 0 || err != nil {
		return err
	}
	group.Number = b.heads[""].number + 1
	body, err := group.Append(nil)
	if err != nil {
		return err
	}
	from, to := group.Span()
	b.add(blockRow{"", group.Number, first, last, from, to, body})
	return nil
}

func (b *batch) add(r blockRow) {
	b.heads[r.source] = sourceHead{r.number, r.lastOrd}
	b.rows = append(b.rows, r)
}

// repeated returns the number of a block that was kept before, as same finds, 0
// if its ordinals are new, and ErrOrder if they are neither new nor the same.
func (b *batch) repeated(ctx context.Context, source string, first uint64, same func(body []byte) (uint64, bool)) (uint64, error) {
	h := b.heads[source]
	if first > h.ord {
		return 0, nil
	}
	for _, one := range b.days.list() {
		if one.missing || !one.sum.meets(first, first) {
			continue
		}
		body, err := b.days.find(ctx, one.file, source, first)
		if err != nil {
			return 0, err
		}
		if number, ok := same(body); ok {
			return number, nil
		}
	}
	name := source
	if source == "" {
		name = "the ticks"
	}
	return 0, fmt.Errorf("ordinal %d of %s, which has come to %d: %w", first, name, h.ord, journal.ErrOrder)
}

// find returns the body that begins with an ordinal, nil if there is none.
func (d *days) find(ctx context.Context, file, source string, first uint64) (body []byte, err error) {
	db, err := connect(d.path(file), reading)
	if err != nil {
		return nil, err
	}
	defer db.Close()
	bodies := [][]byte{nil}
	err = eachRow(ctx, db, "SELECT b.body FROM blocks b JOIN sources s ON s.id = b.source WHERE b.first_ord = ? AND s.name = ?",
		[]any{int64(first), source}, func(r *sql.Rows) error { return r.Scan(&bodies[0]) })
	return bodies[0], err
}

// keep writes rows into a file, in one commit.
func (d *days) keep(ctx context.Context, file string, rows []blockRow) error {
	err := d.attempt(ctx, file, rows)
	if errors.Is(err, errCorrupt) {
		if err := d.mend(ctx, file, err); err != nil {
			return err
		}
		err = d.attempt(ctx, file, rows)
	}
	switch {
	case errors.Is(err, journal.ErrFull):
		d.s.ranOut()
	case errors.Is(err, journal.ErrBroken):
		d.s.breakDown(err)
	}
	return err
}

func (d *days) attempt(ctx context.Context, file string, rows []blockRow) error {
	if err := d.turn(ctx, file); err != nil {
		return err
	}
	tx, err := d.w.BeginTx(ctx, nil)
	if err != nil {
		return translate(err)
	}
	defer tx.Rollback()
	one, _ := d.get(file)
	added := map[string]int64{}
	for i := range rows {
		r := &rows[i]
		id, ok := d.ids[r.source]
		if !ok {
			if id, ok = added[r.source]; !ok {
				res, err := tx.Exec("INSERT INTO sources(name) VALUES(?)", r.source)
				if err != nil {
					return translate(err)
				}
				if id, err = res.LastInsertId(); err != nil {
					return translate(err)
				}
				added[r.source] = id
			}
		}
		if err := r.insert(tx, id, "INSERT"); err != nil {
			return translate(err)
		}
		one.sum.add(r)
	}
	p := one.sum.progress(file, open)
	for i := range rows {
		p.Sources = append(p.Sources, record.SourceProgress{Source: rows[i].source, Number: rows[i].number, Ord: rows[i].lastOrd})
	}
	p.Sources = furthest(nil, p.Sources)
	if err := saveProgress(tx, ofFile, p); err != nil {
		return translate(err)
	}
	if err := tx.Commit(); err != nil {
		return translate(err)
	}
	maps.Copy(d.ids, added)
	d.set(one)
	return nil
}
