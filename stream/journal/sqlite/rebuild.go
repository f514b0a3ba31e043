package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"weald/stream/journal"
)

// mendingSuffix is what a file is called while it is being built anew.
const mendingSuffix = ".mending"

// rescue looks at the log of a file before SQLite does. What SQLite would ignore
// behind a damaged frame is returned, to be kept again once the file is open,
// and the log as it was stays beside the file.
func (s *Store) rescue(file string) ([][]byte, error) {
	path := filepath.Join(s.dir, file)
	log := path + "-wal"
	scan, err := scanLog(log)
	if err != nil {
		return nil, err
	}
	dropped := scan.dropped()
	if len(dropped) == 0 {
		return nil, nil
	}
	p, err := openPages(path, log)
	if err != nil {
		return nil, err
	}
	defer p.close()
	var bodies [][]byte
	for body, err := range p.bodies(dropped, false) {
		if err != nil {
			return nil, err
		}
		bodies = append(bodies, body)
	}
	if err := copyFile(freeName(log), log); err != nil {
		return nil, fmt.Errorf("damaged log of %s: %w", file, translate(err))
	}
	s.note(journal.Finding{Trouble: journal.Structure, Loss: journal.Loss{File: file + "-wal"},
		Text: fmt.Sprintf("%s-wal: frame %d is damaged; what the %d frames from there on hold was kept again", file, scan.whole+1, len(dropped))})
	return bodies, nil
}

// rebuild puts everything whole that is found in a file, or in its log, into a
// new file in its place. Nobody may have it open.
func (s *Store) rebuild(ctx context.Context, file string, k *kind, cause error) error {
	path := filepath.Join(s.dir, file)
	fresh := path + mendingSuffix
	if err := removeAll(fresh); err != nil {
		return err
	}
	err := fillAnew(ctx, path, fresh, k)
	if err != nil {
		return fmt.Errorf("mending %s: %w", file, errors.Join(err, removeAll(fresh)))
	}
	// From here on a crash leaves either the old file or, complete, the new one.
	old := freeName(path)
	if err := os.Rename(path, old); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	if err := os.Rename(path+"-wal", old+"-wal"); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	if err := errors.Join(removeAll(path), syncDir(s.dir)); err != nil {
		return err
	}
	if err := errors.Join(os.Rename(fresh, path), syncDir(s.dir)); err != nil {
		return err
	}
	s.note(journal.Finding{Trouble: journal.Structure, Loss: journal.Loss{File: file, Err: cause},
		Text: fmt.Sprintf("%s was damaged (%v) and is built anew from all that is whole in it; it is kept as %s", file, cause, filepath.Base(old))})
	return nil
}

func fillAnew(ctx context.Context, path, fresh string, k *kind) error {
	db, err := establish(ctx, fresh, k)
	if err != nil {
		return err
	}
	defer db.Close()
	p, err := openPages(path, path+"-wal")
	if err != nil {
		return err
	}
	defer p.close()
	var some [][]byte
	for body, err := range p.bodies(p.frames, true) {
		if err != nil {
			return err
		}
		if some = append(some, body); len(some) == 256 {
			if err := k.keepAll(ctx, db, some); err != nil {
				return err
			}
			some = some[:0]
		}
	}
	if err := k.keepAll(ctx, db, some); err != nil {
		return err
	}
	return settle(ctx, db)
}

// settle puts a log into its file and closes it, so that the file is whole alone.
func settle(ctx context.Context, db *sql.DB) error {
	var busy, a, b int
	err := db.QueryRowContext(ctx, "PRAGMA wal_checkpoint(TRUNCATE)").Scan(&busy, &a, &b)
	if err == nil && busy != 0 {
		err = errors.New("somebody reads a file that is not ready")
	}
	return translate(errors.Join(err, db.Close()))
}

// finishMending ends what a crash interrupted: a new file without its old one is
// complete, one beside its old one may not be.
func (s *Store) finishMending() error {
	fresh, err := filepath.Glob(filepath.Join(s.dir, "*"+daySuffix+mendingSuffix))
	if err != nil {
		return err
	}
	for _, f := range fresh {
		path := strings.TrimSuffix(f, mendingSuffix)
		if _, err := os.Stat(path); err == nil {
			err = removeAll(f)
			if err != nil {
				return err
			}
			continue
		}
		// The old log must not be applied to the new file.
		if err := errors.Join(removeAll(path), os.Rename(f, path), syncDir(s.dir)); err != nil {
			return err
		}
	}
	return nil
}

// removeAll removes what may lie beside a file of SQLite, and if it is one that
// is being built anew, the file.
func removeAll(path string) error {
	names := []string{path + "-wal", path + "-shm", path + "-journal"}
	if strings.HasSuffix(path, mendingSuffix) {
		names = append(names, path)
	}
	for _, name := range names {
		if err := os.Remove(name); err != nil && !errors.Is(err, os.ErrNotExist) {
			return err
		}
	}
	return nil
}

// freeName returns a name for a damaged file that nothing has yet.
func freeName(path string) string {
	for n := 1; ; n++ {
		name := fmt.Sprintf("%s"+damagedMark+"%d", path, n)
		if _, err := os.Lstat(name); errors.Is(err, os.ErrNotExist) {
			return name
		}
	}
}

// copyFile copies a file that nobody writes to, and makes the copy durable.
func copyFile(to, from string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	if err == nil {
		err = out.Sync()
	}
	return errors.Join(err, out.Close())
}
