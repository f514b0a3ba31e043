package sqlite

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"weald/stream/journal"
)

// Look opens a record that another process uses, to read what it holds now: what
// is kept later is not seen. It takes no room and keeps nobody from writing, since
// SQLite lets readers see the files as they are between two commits, and each look
// of a reader is short. It writes nothing and mends nothing: what is damaged is a
// *journal.Loss until whoever uses the record has met and mended it, and what is
// deleted meanwhile cannot be read any more. Every method that writes returns
// journal.ErrInUse.
func Look(ctx context.Context, dir string) (*Store, error) {
	s := &Store{dir: dir, looking: true, broken: journal.ErrInUse}
	s.head.init()
	s.days.init(s)
	err := s.look(ctx)
	if err != nil {
		return nil, fmt.Errorf("record in %s: %w", dir, errors.Join(err, s.release()))
	}
	return s, nil
}

func (s *Store) look(ctx context.Context) (err error) {
	path := filepath.Join(s.dir, mainName)
	if _, err := os.Stat(path); err != nil {
		return err
	}
	if s.main.r, err = connect(path, reading); err != nil {
		return err
	}
	id, version, err := marks(ctx, s.main.r)
	if err != nil {
		return translate(err)
	}
	if id != mainID || version != schemaVersion {
		return journal.ErrForeign
	}
	if err := s.learn(ctx); err != nil {
		return err
	}
	return s.days.load(ctx)
}

// glance learns what a file holds that somebody else may be writing to, or about
// to delete. One that the main file does not know may be about to get its tables.
func (d *days) glance(ctx context.Context, one day, known bool) error {
	if one.state == retired {
		d.mu.Lock()
		delete(d.all, one.file)
		d.mu.Unlock()
		return nil
	}
	db, err := connect(d.path(one.file), reading)
	if err != nil {
		return err
	}
	defer db.Close()
	if id, _, err := marks(ctx, db); err == nil && id == 0 && !known {
		return nil // nothing in it has been acknowledged
	}
	if err := d.learn(ctx, db, one); err != nil {
		return fmt.Errorf("%s: %w", one.file, err)
	}
	return nil
}
