package sqlite

import (
	"context"
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
	if err := s.mayWrite(ctx); err != nil {
		return err
	}
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
	b := batch{days: d, file: dayFile(arrived), heads: maps.Clone(d.heads)}
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
		if err := d.keep(lasting(ctx), b.file, b.rows); err != nil {
			return err
		}
	}
	d.raiseAll(b.heads)
	for i, n := range b.numbers {
		blocks[i].Number = n
	}
	return nil
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
		there := false
		if r.grows {
			if there, err = r.grow(tx, id); err != nil {
				return translate(err)
			}
		}
		if !there { // new, or it grows out of one that mending could not save
			if err := r.insert(tx, id, "INSERT"); err != nil {
				return translate(err)
			}
		}
		one.sum.add(r, !there)
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
