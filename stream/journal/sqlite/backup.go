package sqlite

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	driver "modernc.org/sqlite"

	"weald/stream/journal"
	"weald/stream/record"
)

// manifestName is the file that says what a backup consists of. It is written
// last: a folder without it is not a backup.
const manifestName = "backup.json"

// A Manifest says what a backup holds.
type Manifest struct {
	Format   int               `json:"format"` // of the manifest; 1
	Position record.Position   `json:"position"`
	Ord      uint64            `json:"ord"`
	Sources  map[string]uint64 `json:"sources"` // number of the last block of each
	Files    []BackupFile      `json:"files"`
}

// A BackupFile is one file of a backup.
type BackupFile struct {
	Name   string `json:"name"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// A pinned file is one that is read as it was at one instant, whatever is
// written to it since.
type pinned struct {
	name string
	db   *sql.DB
	conn *sql.Conn
}

func (p *pinned) close() error { return errors.Join(p.conn.Close(), p.db.Close()) }

// Backup copies the record, as it is at one instant, into a new folder, while it
// goes on being written. All files are of the same instant. progress, which may
// be nil, is told the pages of all files that are copied, and how many there are
// as far as that is known.
func (s *Store) Backup(ctx context.Context, dir string, progress func(done, known int64)) (*Manifest, error) {
	switch entries, err := os.ReadDir(dir); {
	case len(entries) > 0:
		return nil, fmt.Errorf("backup to %s: the folder is not empty", dir)
	case err != nil && !errors.Is(err, os.ErrNotExist):
		return nil, fmt.Errorf("backup to %s: %w", dir, err) // a file, say, which is not ours to replace
	}
	partial := dir + ".partial"
	if err := os.RemoveAll(partial); err != nil {
		return nil, err
	}
	if err := os.MkdirAll(partial, 0o700); err != nil {
		return nil, err
	}
	m, err := s.copyTo(ctx, partial, progress)
	if err != nil {
		return nil, fmt.Errorf("backup to %s: %w", dir, errors.Join(translate(err), os.RemoveAll(partial)))
	}
	if err := os.Remove(dir); err != nil && !errors.Is(err, os.ErrNotExist) {
		return nil, err
	}
	return m, errors.Join(os.Rename(partial, dir), syncDir(filepath.Dir(dir)))
}

func (s *Store) copyTo(ctx context.Context, dir string, progress func(done, known int64)) (*Manifest, error) {
	if err := s.alive(); err != nil {
		return nil, err
	}
	m, files, err := s.pin(ctx)
	defer func() {
		for _, f := range files {
			f.close()
		}
	}()
	if err != nil {
		return nil, err
	}
	var done, known int64
	for _, f := range files {
		to := filepath.Join(dir, f.name)
		before := done
		err := f.copyTo(ctx, to, func(copied, all int64) {
			done, known = before+copied, before+all
			if progress != nil {
				progress(done, known)
			}
		})
		if err != nil {
			return nil, fmt.Errorf("%s: %w", f.name, err)
		}
		entry, err := fingerprint(to)
		if err != nil {
			return nil, err
		}
		m.Files = append(m.Files, entry)
	}
	text, err := json.MarshalIndent(m, "", "\t")
	if err != nil {
		return nil, err
	}
	if err := writeSynced(filepath.Join(dir, manifestName), text); err != nil {
		return nil, err
	}
	return m, syncDir(dir)
}

// pin opens all files at one instant: nothing is committed while it does.
func (s *Store) pin(ctx context.Context) (*Manifest, []*pinned, error) {
	s.days.write.Lock()
	defer s.days.write.Unlock()
	s.main.use.Lock()
	defer s.main.use.Unlock()
	h := s.head.now()
	m := &Manifest{Format: 1, Position: h.Position, Ord: h.Ord, Sources: map[string]uint64{}}
	for source, h := range s.days.heads {
		m.Sources[source] = h.number
	}
	names := []string{mainName}
	for _, one := range s.days.list() {
		if !one.missing && one.state != retired {
			names = append(names, one.file)
		}
	}
	var files []*pinned
	for _, name := range names {
		f := &pinned{name: name}
		var err error
		if f.db, err = connect(filepath.Join(s.dir, name), reading); err != nil {
			return nil, files, err
		}
		if f.conn, err = f.db.Conn(ctx); err != nil {
			return nil, files, errors.Join(err, f.db.Close())
		}
		files = append(files, f)
		if _, err = f.conn.ExecContext(ctx, "BEGIN"); err != nil {
			return nil, files, err
		}
		var n int
		if err = f.conn.QueryRowContext(ctx, "SELECT count(*) FROM sqlite_schema").Scan(&n); err != nil {
			return nil, files, err
		}
	}
	return m, files, nil
}

// pagesAtOnce is how much is copied between two looks at the context.
const pagesAtOnce = 1024

func (f *pinned) copyTo(ctx context.Context, path string, progress func(copied, all int64)) error {
	if err := writeSynced(path, nil); err != nil { // what SQLite makes anybody may read
		return err
	}
	err := f.conn.Raw(func(conn any) error {
		source, ok := conn.(interface {
			NewBackup(string) (*driver.Backup, error)
		})
		if !ok {
			return fmt.Errorf("a connection of type %T cannot copy", conn)
		}
		b, err := source.NewBackup(path)
		if err != nil {
			return err
		}
		for more := true; more && err == nil; {
			if err = context.Cause(ctx); err == nil {
				more, err = b.Step(pagesAtOnce)
				progress(int64(b.PageCount()-b.Remaining()), int64(b.PageCount()))
			}
		}
		return errors.Join(err, b.Finish())
	})
	if err != nil {
		return err
	}
	// A copy needs no log: it is one file that can be read anywhere.
	db, err := connect(path, writing)
	if err != nil {
		return err
	}
	var mode string
	err = db.QueryRowContext(ctx, "PRAGMA journal_mode(DELETE)").Scan(&mode)
	return errors.Join(err, db.Close())
}

func fingerprint(path string) (BackupFile, error) {
	f, err := os.Open(path)
	if err != nil {
		return BackupFile{}, err
	}
	defer f.Close()
	h := sha256.New()
	n, err := io.Copy(h, f)
	if err == nil {
		err = f.Sync()
	}
	return BackupFile{filepath.Base(path), n, hex.EncodeToString(h.Sum(nil))}, err
}

func writeSynced(path string, b []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(b)
	if err == nil {
		err = f.Sync()
	}
	return errors.Join(err, f.Close())
}

// readManifest reads what a folder says it holds.
func readManifest(dir string) (*Manifest, error) {
	text, err := os.ReadFile(filepath.Join(dir, manifestName))
	if err != nil {
		return nil, fmt.Errorf("%s is not a backup: %w", dir, err)
	}
	m := &Manifest{}
	if err := json.Unmarshal(text, m); err != nil {
		return nil, fmt.Errorf("%s: %w", filepath.Join(dir, manifestName), err)
	}
	if m.Format != 1 {
		return nil, fmt.Errorf("backup in %s has format %d: %w", dir, m.Format, journal.ErrForeign)
	}
	return m, nil
}
