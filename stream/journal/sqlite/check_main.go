package sqlite

import (
	"database/sql"
	"errors"
	"fmt"
	"path/filepath"

	"weald/stream/journal"
	"weald/stream/record"
)

// mainFile looks at everything in weald.db.
func (c *checker) mainFile() {
	db, err := c.connect(filepath.Join(c.dir, mainName))
	if err != nil {
		c.fail(err)
		return
	}
	defer db.Close()
	whole := c.structure(db, mainName)
	if c.stopped {
		return
	}
	broken := map[uint64]error{}
	whole = c.walk(db, mainName, "SELECT position, kind, body FROM entries WHERE position > ? ORDER BY position LIMIT ?", func(r *sql.Rows) (int64, error) {
		var position int64
		var kind string
		var body sql.RawBytes
		if err := r.Scan(&position, &kind, &body); err != nil {
			return position, err
		}
		if p, err := positionOf(body); err == nil && int64(p) == position {
			c.entries.add(p)
		} else {
			broken[uint64(position)] = err
		}
		return position, nil
	}) && whole
	whole = c.things(db, "documents", "document", func(b []byte) error { _, err := record.DecodeDocument(b); return err }) && whole
	whole = c.things(db, "snapshots", "snapshot", func(b []byte) error { _, err := record.DecodeSnapshot(b); return err }) && whole
	whole = c.things(db, "history", "stretch of history", func(b []byte) error { _, err := record.DecodeStretch(b); return err }) && whole
	whole = c.things(db, "retired", "note of a deletion", func(b []byte) error {
		r, err := record.DecodeRetired(b)
		if err == nil {
			c.retired = append(c.retired, r)
		}
		return err
	}) && whole
	whole = c.things(db, "progress", "note of what was reached", func(b []byte) error { _, err := record.DecodeProgress(b); return err }) && whole
	if !whole && !c.stopped {
		c.raw(mainName, func(body []byte) {
			if p, err := positionOf(body); err == nil {
				c.entries.add(p)
			} else if r, err := record.DecodeRetired(body); err == nil {
				c.retired = append(c.retired, r)
			}
		})
	}
	c.entries = c.entries.merged()
	for _, r := range missing(1, uint64(c.head.Position), journal.Entries, nil, c.entries) {
		for p := r.first; p <= r.last; p++ {
			if err := broken[p]; err != nil {
				c.lost(journal.Loss{File: mainName, Source: journal.Entries, First: p, Last: p, Err: err})
				c.entries = append(c.entries, span{p, p})
			}
		}
	}
	c.entries = c.entries.merged()
}

// things looks at all rows of a table of the main file. Damaged ones have no
// number by which they would be missed, so they are told here.
func (c *checker) things(db *sql.DB, table, name string, decode func([]byte) error) bool {
	return c.walk(db, mainName, "SELECT rowid, body FROM "+table+" WHERE rowid > ? ORDER BY rowid LIMIT ?", func(r *sql.Rows) (int64, error) {
		var id int64
		var body sql.RawBytes
		if err := r.Scan(&id, &body); err != nil {
			return id, err
		}
		if err := decode(body); err != nil {
			c.tell(journal.Finding{Trouble: journal.Unreadable, Loss: journal.Loss{File: mainName, Source: table, Err: err},
				Text: fmt.Sprintf("%s: a %s, row %d of %s, is lost: %v", mainName, name, id, table, err)})
		}
		return id, nil
	})
}

// positionOf returns the position of an entry, or of the note that is in the
// place of one that was deleted on purpose.
func positionOf(body []byte) (uint64, error) {
	e, err := record.DecodeEntry(body)
	if !errors.Is(err, record.ErrForm) {
		return uint64(e.Position), err
	}
	r, err := record.DecodeRetired(body)
	if err == nil && r.Source != journal.Entries {
		err = record.ErrForm
	}
	return r.First, err
}
