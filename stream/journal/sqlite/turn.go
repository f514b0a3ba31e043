package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"os"

	"weald/stream/journal"
)

// turn makes a file the current one.
func (d *days) turn(ctx context.Context, file string) error {
	if d.current == file {
		return nil
	}
	if err := d.seal(ctx); err != nil {
		return err
	}
	one, _ := d.get(file)
	if one.missing { // what was in it is lost, and Check says so; today goes on
		one = day{file: file}
	}
	db, err := establish(ctx, d.path(file), &dayKind)
	if err != nil {
		return err
	}
	one.state = open
	d.ids = map[string]int64{}
	if one.sum, _, err = readDay(ctx, db); err == nil {
		err = eachRow(ctx, db, "SELECT id, name FROM sources", nil, func(r *sql.Rows) error {
			var id int64
			var name string
			err := r.Scan(&id, &name)
			d.ids[name] = id
			return err
		})
	}
	if err == nil {
		was, known := d.get(file)
		d.set(one)
		if !known || was.state != open {
			if err = d.register(ctx, file); err != nil && known {
				d.set(was)
			}
		}
	}
	if err != nil {
		return errors.Join(err, db.Close())
	}
	d.w, d.current = db, file
	return nil
}

// seal closes the current file, if there is one, in a form that any program can
// read without its log.
func (d *days) seal(ctx context.Context) error {
	if d.w == nil {
		return nil
	}
	ctx = lasting(ctx)
	putAway(ctx, d.w)
	err := d.w.Close()
	one, _ := d.get(d.current)
	one.state = sealed
	d.set(one)
	file := d.current
	d.w, d.current = nil, ""
	if err != nil {
		return translate(err)
	}
	switch err := d.register(ctx, file); {
	case errors.Is(err, journal.ErrFull):
		return nil // the main file still says open: the next start looks for itself
	default:
		return err
	}
}

// putAway puts the log of a file into it. With readers about that do not go at once, the
// log stays: it is as good, only less handy, and the next start tries again. Readings, and
// alerts behind them, wait for this, and a backup may read for long.
func putAway(ctx context.Context, db *sql.DB) {
	var mode string
	_, _ = db.ExecContext(ctx, "PRAGMA busy_timeout(250)")
	if _, err := db.ExecContext(ctx, "PRAGMA wal_checkpoint(TRUNCATE)"); err == nil {
		_, _ = db.ExecContext(ctx, "PRAGMA busy_timeout(0)")
		_ = db.QueryRowContext(ctx, "PRAGMA journal_mode(DELETE)").Scan(&mode)
	}
}

// finish seals the current file when the store closes.
func (d *days) finish() error {
	d.write.Lock()
	defer d.write.Unlock()
	if d.s.usable() != nil {
		return nil
	}
	return d.seal(context.Background())
}

// close lets go of the current file, however it is.
func (d *days) close() error {
	d.write.Lock()
	defer d.write.Unlock()
	if d.w == nil {
		return nil
	}
	err := d.w.Close()
	d.w, d.current = nil, ""
	return err
}

// remove deletes a file, of which the main file already says that it goes. Its log goes
// first: one that is left alone would be taken for all that is left of a file.
func (d *days) remove(ctx context.Context, file string) error {
	for _, name := range []string{"-wal", "-shm", "-journal", ""} {
		if err := os.Remove(d.path(file) + name); err != nil && !errors.Is(err, os.ErrNotExist) {
			return err
		}
	}
	if err := syncDir(d.s.dir); err != nil {
		return err
	}
	d.mu.Lock()
	delete(d.all, file)
	d.mu.Unlock()
	return d.s.write(lasting(ctx), &request{reserved: true, do: func(tx *sql.Tx) error {
		_, err := tx.Exec("DELETE FROM progress WHERE key = ?", file)
		return err
	}})
}
