package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"iter"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"weald/stream/journal"
)

// Verify reads a whole backup and yields everything that is wrong with it, as
// Check does for a record. It writes nothing, so that a backup may be on
// something that cannot be written to.
func Verify(ctx context.Context, dir string) iter.Seq2[journal.Finding, error] {
	return func(yield func(journal.Finding, error) bool) {
		m, err := readManifest(dir)
		if err != nil {
			yield(journal.Finding{}, err)
			return
		}
		v := vault{dir: dir, connect: connectStill, head: journal.Head{Position: m.Position, Ord: m.Ord}, heads: map[string]sourceHead{}}
		for source, n := range m.Sources {
			v.heads[source] = sourceHead{number: n}
		}
		if !slices.ContainsFunc(m.Files, func(f BackupFile) bool { return f.Name == mainName }) {
			f := journal.Finding{Trouble: journal.Structure, Loss: journal.Loss{File: mainName}, Text: mainName + " is not among what was backed up"}
			if !yield(f, nil) {
				return
			}
		}
		for _, want := range m.Files {
			got, err := fingerprint(filepath.Join(dir, want.Name))
			missing := errors.Is(err, os.ErrNotExist)
			switch {
			case err != nil && !missing:
				yield(journal.Finding{}, err)
				return
			case missing:
				f := journal.Finding{Trouble: journal.Lost, Loss: journal.Loss{File: want.Name, Err: err}, Text: want.Name + " is missing"}
				if !yield(f, nil) {
					return
				}
			case got != want:
				f := journal.Finding{Trouble: journal.Structure, Loss: journal.Loss{File: want.Name}, Text: want.Name + " is not as it was written"}
				if !yield(f, nil) {
					return
				}
			}
			if strings.HasPrefix(want.Name, dayPrefix) {
				v.days = append(v.days, day{file: want.Name, missing: missing})
			} else if missing {
				return // nothing else can be known without it
			}
		}
		v.check(ctx, yield)
	}
}

// connectStill opens a file that nobody writes to, without a lock or a log.
func connectStill(path string) (*sql.DB, error) {
	prepare()
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	u := url.URL{Scheme: "file", Path: abs, RawQuery: "mode=ro&immutable=1"}
	return sql.Open("sqlite", u.String())
}

// Restore puts a backup into a new or empty folder, from where Open opens it. A
// backup with anything wrong is refused, as an error that tells the first
// finding.
func Restore(ctx context.Context, backup, dir string) error {
	for f, err := range Verify(ctx, backup) {
		if err != nil {
			return err
		}
		return fmt.Errorf("backup in %s: %s", backup, f)
	}
	m, err := readManifest(backup)
	if err != nil {
		return err
	}
	if entries, err := os.ReadDir(dir); err == nil && len(entries) > 0 {
		return fmt.Errorf("restoring to %s: the folder is not empty", dir)
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	// The main file comes last: without it Open would begin a new record.
	for i := len(m.Files) - 1; i >= 0; i-- {
		if err := context.Cause(ctx); err != nil {
			return err
		}
		name := m.Files[i].Name
		if err := copyFile(filepath.Join(dir, name), filepath.Join(backup, name)); err != nil {
			return fmt.Errorf("restoring %s: %w", name, translate(err))
		}
	}
	return syncDir(dir)
}
