package sqlite

import (
	"context"
	"database/sql"
	"errors"

	"weald/stream/journal"
	"weald/stream/record"
)

// A kind is one of the two kinds of files: how it looks, and how bodies get into
// it again when nothing but them is left.
type kind struct {
	id     int64
	schema string

	// keep inserts a body unless it, or what replaced it, is there.
	keep func(tx *sql.Tx, body []byte) error
	// finish is called when all are inserted.
	finish func(tx *sql.Tx) error
}

var (
	mainKind = kind{mainID, mainSchema, keepMain, func(*sql.Tx) error { return nil }}
	dayKind  = kind{dayID, daySchema, keepDay, summarise}
)

// keepAll inserts bodies, in one transaction.
func (k *kind) keepAll(ctx context.Context, db *sql.DB, bodies [][]byte) error {
	if len(bodies) == 0 {
		return nil
	}
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return translate(err)
	}
	defer tx.Rollback()
	for _, body := range bodies {
		if err := k.keep(tx, body); err != nil {
			return translate(err)
		}
	}
	if err := k.finish(tx); err != nil {
		return translate(err)
	}
	return translate(tx.Commit())
}

func keepMain(tx *sql.Tx, body []byte) error {
	form, err := record.FormOf(body)
	if err != nil {
		return nil
	}
	switch form {
	case record.FormEntry:
		e, err := record.DecodeEntry(body)
		if err != nil || e.Position == 0 {
			return nil
		}
		var ord any
		if e.Ord != 0 {
			ord = int64(e.Ord)
		}
		_, err = tx.Exec("INSERT OR IGNORE INTO entries(position, kind, at, ord, place, body) VALUES(?,?,?,?,?,?)",
			int64(e.Position), string(e.Body.Kind()), int64(e.At), ord, e.Place, body)
		return err
	case record.FormRetired:
		r, err := record.DecodeRetired(body)
		if err != nil {
			return nil
		}
		if r.Source == journal.Entries {
			return erase(tx, "INSERT OR IGNORE", record.Position(r.First))
		}
		_, err = tx.Exec("INSERT INTO retired(body) SELECT ? WHERE NOT EXISTS (SELECT 1 FROM retired WHERE body = ?)", body, body)
		return err
	case record.FormDocument:
		d, err := record.DecodeDocument(body)
		if err != nil {
			return nil
		}
		_, err = tx.Exec("INSERT OR IGNORE INTO documents(name, version, written, gone, body) VALUES(?,?,?,?,?)",
			d.Name, int64(d.Version), int64(d.Written), d.Body == nil, body)
		return err
	case record.FormSnapshot:
		n, err := record.DecodeSnapshot(body)
		if err != nil {
			return nil
		}
		_, err = tx.Exec("INSERT OR IGNORE INTO snapshots(ord, body) VALUES(?,?)", int64(n.Ord), body)
		return err
	case record.FormStretch:
		h, err := record.DecodeStretch(body)
		if err != nil {
			return nil
		}
		return insertStretch(tx, h, body)
	case record.FormProgress:
		p, err := record.DecodeProgress(body)
		switch {
		case err != nil:
			return nil
		case p.File != "":
			if p.State == sealed {
				p.State = open // it may be of an earlier time
			}
			return keepProgress(tx, p.File, p)
		case len(p.Sources) > 0:
			return keepProgress(tx, ofSources, p)
		}
		return keepProgress(tx, ofEntries, p)
	}
	return nil
}

// erase puts a note in the place of an entry that was deleted on purpose.
func erase(tx *sql.Tx, verb string, p record.Position) error {
	note := record.Retired{Source: journal.Entries, First: uint64(p), Last: uint64(p)}
	_, err := tx.Exec(verb+" INTO entries(position, kind, at, ord, place, body) VALUES(?,'',0,NULL,'',?)", int64(p), note.Append(nil))
	return err
}

// rowOf makes a row of the body of a block or of ticks. It is not ok for
// anything else.
func rowOf(body []byte) (r blockRow, ok bool) {
	form, err := record.FormOf(body)
	switch {
	case err != nil:
		return r, false
	case form == record.FormBlock:
		b, err := record.DecodeBlock(body)
		if err != nil {
			return r, false
		}
		r = blockRow{source: b.Source, number: b.Number, after: b.After, body: body}
		r.firstOrd, r.lastOrd = b.Ords()
		r.firstAt, r.lastAt = b.Span()
	case form == record.FormTicks:
		k, err := record.DecodeTicks(body)
		if err != nil {
			return r, false
		}
		r = blockRow{number: k.Number, body: body}
		r.firstOrd, r.lastOrd = k.Ords()
		r.firstAt, r.lastAt = k.Span()
	default:
		return r, false
	}
	return r, true
}

func keepDay(tx *sql.Tx, body []byte) error {
	if p, err := record.DecodeProgress(body); err == nil {
		return keepProgress(tx, ofFile, p)
	}
	r, ok := rowOf(body)
	if !ok {
		return nil
	}
	var source int64
	err := tx.QueryRow("SELECT id FROM sources WHERE name = ?", r.source).Scan(&source)
	if errors.Is(err, sql.ErrNoRows) {
		err = tx.QueryRow("INSERT INTO sources(name) VALUES(?) RETURNING id", r.source).Scan(&source)
	}
	if err != nil {
		return err
	}
	var last int64
	switch err := tx.QueryRow("SELECT last_ord FROM blocks WHERE source = ? AND number = ?", source, int64(r.number)).Scan(&last); {
	case errors.Is(err, sql.ErrNoRows):
		return r.insert(tx, source, "INSERT OR IGNORE")
	case err != nil || int64(r.lastOrd) <= last:
		return err
	}
	_, err = r.grow(tx, source) // what is there was found first and is from before it grew
	return err
}
