package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"

	"weald/ingest/sample"
	"weald/stream/record"
)

// A Rework is what has to change in a record, where a person's data have to go out of
// it. Nothing else may change what was kept.
type Rework struct {
	// Blanks are readings that become unknown; the scans stay, with their times and
	// ordinals, so that everything else is judged again as it was.
	Blanks []Blank
	// Spans are history that goes, of every point that tells of some of them.
	Spans []Span

	// Entry changes an entry, and reports whether it has. It is shown all that can be
	// read, in their order, and leaves position, ordinal, times and kind alone.
	Entry func(*record.Entry) bool
	// Document changes the name or the body of a version of a document, and reports
	// whether it has.
	Document func(*record.Document) bool
	// Broken reports of what cannot be read, and of what it is called, whether it has to
	// go all the same.
	Broken func([]byte) bool
	// Link returns the entry that says that this was done, and covers what was.
	Link func(changed []record.Cover) record.Entry
	// Salt makes the salts of the covers.
	Salt func() []byte
}

// A Blank is readings of some channels of a source, all without Channels.
type Blank struct {
	Source   string
	Channels []int
	From, To sample.Instant // from <= At <= to
}

// A Span is all series of a place in a time.
type Span struct {
	Place    string
	From, To sample.Instant // from <= At <= to
}

// Reworked counts what was changed.
type Reworked struct {
	Blocks, Entries, Documents, Stretches int
}

// Rework changes the record. Readings first, one file at a time, and then all else
// together with the link that says so: whatever ends it before that, it can be made
// again. What was there before is then in no file of the record any more, nor in the
// room that they do not use.
func (s *Store) Rework(ctx context.Context, w Rework) (Reworked, error) {
	if err := s.mayWrite(ctx); err != nil {
		return Reworked{}, err
	}
	var n Reworked
	if err := s.usable(); err != nil {
		return n, err
	}
	for _, one := range s.days.list() {
		if one.missing || one.state == retired {
			continue
		}
		changed, err := s.days.blank(ctx, one.file, w.Blanks)
		n.Blocks += changed
		if err != nil {
			return n, fmt.Errorf("%s: %w", one.file, err)
		}
	}
	var last record.Position
	var ord uint64
	var link record.Link
	r := &request{reserved: true, do: func(tx *sql.Tx) error {
		blocks := n.Blocks
		n = Reworked{Blocks: blocks}
		covers, err := reworkEntries(tx, &w)
		if err != nil {
			return err
		}
		n.Entries = len(covers)
		if n.Documents, err = reworkDocuments(tx, &w); err != nil {
			return err
		}
		if n.Stretches, err = reworkHistory(tx, w.Spans); err != nil {
			return err
		}
		if _, err := tx.Exec("DELETE FROM snapshots WHERE ord < (SELECT max(ord) FROM snapshots)"); err != nil {
			return err
		}
		_, err = s.appendOne(tx, w.Link(covers), nil)
		last, ord, link = s.main.position, s.main.ord, s.main.link
		return err
	}}
	r.kept = func() { s.head.entries(last, ord, link) }
	if err := s.write(ctx, r); err != nil {
		return n, err
	}
	return n, s.purge(ctx)
}

// purge makes the files of the record anew, so that nothing is left in room that they
// do not use, and deletes what damaged files were before they were mended.
func (s *Store) purge(ctx context.Context) error {
	s.main.use.Lock()
	err := vacuum(ctx, s.main.w)
	s.main.use.Unlock()
	damaged, globErr := filepath.Glob(filepath.Join(s.dir, "*"+damagedMark+"*"))
	errs := []error{err, globErr}
	for _, path := range damaged {
		errs = append(errs, os.Remove(path))
	}
	return errors.Join(errs...)
}

// damagedMark is in the names of files as they were before they were mended.
const damagedMark = ".damaged-"

// Damaged returns the names of files as they were before they were mended.
func (s *Store) Damaged() (names []string) {
	damaged, _ := filepath.Glob(filepath.Join(s.dir, "*"+damagedMark+"*")) // the pattern is right
	for _, path := range damaged {
		names = append(names, filepath.Base(path))
	}
	return names
}

// errStillRead means that somebody has begun to read a file before it was made anew, and
// is not ready: what was there before is in it, or in its log, until then.
var errStillRead = errors.New("somebody still reads what was there before: it stays in the files until that has ended and the record was closed")

func vacuum(ctx context.Context, db *sql.DB) error {
	if _, err := db.ExecContext(ctx, "VACUUM"); err != nil {
		return translate(err)
	}
	var busy, frames, moved int
	if err := db.QueryRowContext(ctx, "PRAGMA wal_checkpoint(TRUNCATE)").Scan(&busy, &frames, &moved); err != nil {
		return translate(err)
	}
	if busy != 0 {
		return errStillRead
	}
	return nil
}

// blank makes readings of a file unknown, and returns of how many blocks.
func (d *days) blank(ctx context.Context, file string, blanks []Blank) (int, error) {
	d.write.Lock()
	defer d.write.Unlock()
	one, _ := d.get(file)
	var meant []Blank
	for _, b := range blanks {
		if m := &one.sum; m.blocks > 0 && m.firstAt <= b.To && m.lastAt >= b.From {
			meant = append(meant, b)
		}
	}
	if len(meant) == 0 {
		return 0, nil
	}
	if err := d.turn(ctx, file); err != nil {
		return 0, err
	}
	changed := 0
	for _, b := range meant {
		n, err := d.blankOne(ctx, &b)
		if changed += n; err != nil {
			return changed, err
		}
	}
	if err := vacuum(ctx, d.w); err != nil {
		return changed, err
	}
	return changed, d.seal(ctx)
}

func (d *days) blankOne(ctx context.Context, b *Blank) (changed int, err error) {
	id, ok := d.ids[b.Source]
	if !ok {
		return 0, nil
	}
	tx, err := d.w.BeginTx(ctx, nil)
	if err != nil {
		return 0, translate(err)
	}
	defer tx.Rollback()
	ids, err := column(tx, "SELECT id FROM blocks WHERE source = ? AND first_at <= ? AND last_at >= ?", id, int64(b.To), int64(b.From))
	if err != nil {
		return 0, err
	}
	for _, row := range ids {
		var body []byte
		if err := tx.QueryRow("SELECT body FROM blocks WHERE id = ?", row).Scan(&body); err != nil {
			return 0, translate(err)
		}
		block, err := record.DecodeBlock(body)
		if err != nil { // nobody can read it: it goes, and is a loss as it was
			if _, err := tx.Exec("UPDATE blocks SET body = zeroblob(length(body)) WHERE id = ?", row); err != nil {
				return 0, translate(err)
			}
			continue
		}
		if !b.apply(block) {
			continue
		}
		if body, err = block.Append(nil); err != nil {
			return 0, err
		}
		if _, err := tx.Exec("UPDATE blocks SET body = ? WHERE id = ?", body, row); err != nil {
			return 0, translate(err)
		}
		changed++
	}
	return changed, translate(tx.Commit())
}

// apply makes the readings of a block unknown, and reports whether that changed it.
func (b *Blank) apply(block *record.Block) (changed bool) {
	for i := range block.Scans {
		s := &block.Scans[i]
		if s.At < b.From || s.At > b.To {
			continue
		}
		void := func(c int) {
			if c < len(s.Raw) && s.Raw[c] == s.Raw[c] {
				s.Raw[c], changed = math.NaN(), true
			}
		}
		if b.Channels == nil {
			for c := range s.Raw {
				void(c)
			}
		}
		for _, c := range b.Channels {
			void(c)
		}
	}
	return changed
}

// column reads one column of integers whole, so that its rows can be changed.
func column(tx *sql.Tx, query string, args ...any) (all []int64, err error) {
	rows, err := tx.Query(query, args...)
	if err != nil {
		return nil, translate(err)
	}
	defer rows.Close()
	for rows.Next() {
		var n int64
		if err := rows.Scan(&n); err != nil {
			return nil, translate(err)
		}
		all = append(all, n)
	}
	return all, translate(rows.Err())
}

func reworkEntries(tx *sql.Tx, w *Rework) ([]record.Cover, error) {
	positions, err := column(tx, "SELECT position FROM entries WHERE kind <> '' ORDER BY position")
	if err != nil {
		return nil, err
	}
	var covers []record.Cover
	for _, p := range positions {
		var body []byte
		var place string
		if err := tx.QueryRow("SELECT body, place FROM entries WHERE position = ?", p).Scan(&body, &place); err != nil {
			return nil, err
		}
		e, err := record.DecodeEntry(body)
		if err != nil { // a loss, as it was
			if err := w.empty(tx, "entries", p, body, "place", place, ""); err != nil {
				return nil, err
			}
			continue
		}
		if !w.Entry(&e) {
			continue
		}
		if body, err = e.Append(nil); err != nil {
			return nil, err
		}
		if _, err := tx.Exec("UPDATE entries SET place = ?, body = ? WHERE position = ?", e.Place, body, p); err != nil {
			return nil, err
		}
		covers = append(covers, record.Cover{Position: e.Position, Kind: e.Body.Kind(), Salt: w.Salt()}.Seals(record.SumOf(body)))
	}
	return covers, nil
}

// empty takes what has to go out of a row whose body cannot be read: out of the body, and
// out of the column with the name that the body had.
func (w *Rework) empty(tx *sql.Tx, table string, row int64, body []byte, column, name, instead string) error {
	if w.Broken(body) {
		if _, err := tx.Exec("UPDATE "+table+" SET body = zeroblob(length(body)) WHERE rowid = ?", row); err != nil {
			return err
		}
	}
	if !w.Broken([]byte(name)) {
		return nil
	}
	_, err := tx.Exec("UPDATE "+table+" SET "+column+" = ? WHERE rowid = ?", instead, row)
	return err
}

func reworkDocuments(tx *sql.Tx, w *Rework) (changed int, err error) {
	ids, err := column(tx, "SELECT id FROM documents")
	if err != nil {
		return 0, err
	}
	for _, id := range ids {
		var body []byte
		var name string
		if err := tx.QueryRow("SELECT body, name FROM documents WHERE id = ?", id).Scan(&body, &name); err != nil {
			return changed, err
		}
		d, err := record.DecodeDocument(body)
		switch {
		case err != nil:
			if err := w.empty(tx, "documents", id, body, "name", name, fmt.Sprint("damaged/", id)); err != nil {
				return changed, err
			}
			continue
		case !w.Document(&d):
			continue
		}
		if body, err = d.Append(nil); err != nil {
			return changed, err
		}
		if _, err := tx.Exec("UPDATE documents SET name = ?, body = ? WHERE id = ?", d.Name, body, id); err != nil {
			return changed, err
		}
		changed++
	}
	return changed, nil
}

func reworkHistory(tx *sql.Tx, spans []Span) (changed int, err error) {
	for _, span := range spans {
		for _, tier := range record.Tiers() {
			ids, err := column(tx, "SELECT h.id FROM history h JOIN series s ON h.series = s.id WHERE s.place = ? AND h.tier = ? AND h.window BETWEEN ? AND ?",
				span.Place, int64(tier), window(tier, span.From.Add(-tier.Step())), window(tier, span.To))
			if err != nil {
				return changed, err
			}
			for _, id := range ids {
				n, err := reworkStretch(tx, id, span)
				if changed += n; err != nil {
					return changed, err
				}
			}
		}
	}
	return changed, nil
}

// reworkStretch takes the points out of a row that tell of some of a span.
func reworkStretch(tx *sql.Tx, id int64, span Span) (int, error) {
	var body []byte
	if err := tx.QueryRow("SELECT body FROM history WHERE id = ?", id).Scan(&body); err != nil {
		return 0, err
	}
	h, err := record.DecodeStretch(body)
	if err != nil {
		_, err = tx.Exec("DELETE FROM history WHERE id = ?", id)
		return 1, err
	}
	kept := h.Points[:0]
	for _, p := range h.Points {
		if p.At > span.To || p.At.Add(h.Tier.Step()) <= span.From {
			kept = append(kept, p)
		}
	}
	switch {
	case len(kept) == len(h.Points):
		return 0, nil
	case len(kept) == 0:
		_, err = tx.Exec("DELETE FROM history WHERE id = ?", id)
		return 1, err
	}
	h.Points = kept
	if body, err = h.Append(nil); err == nil {
		_, err = tx.Exec("UPDATE history SET body = ? WHERE id = ?", body, id)
	}
	return 1, err
}

// Snapshots calls each with the body of every snapshot that can be read.
func (s *Store) Snapshots(ctx context.Context, each func(record.Snapshot)) error {
	bodies, err := collect(ctx, s, "SELECT body FROM snapshots ORDER BY ord", nil, scanBody)
	for _, body := range bodies {
		if n, err := record.DecodeSnapshot(body); err == nil {
			each(n)
		}
	}
	return err
}
