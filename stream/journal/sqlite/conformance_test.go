package sqlite

import (
	"context"
	"path/filepath"
	"testing"

	"weald/ingest/raced"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
)

// testReserve is small, so that tests are quick; that it is enough is for the
// tests of full disks to say.
const testReserve = 1 << 20

// mustOpen opens the record in a folder. It is closed when the test ends.
func mustOpen(t testing.TB, dir string) *Store {
	t.Helper()
	s, err := Open(context.Background(), dir, Options{Reserve: testReserve})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// begun is a store of which a second is kept.
func begun(t testing.TB, dir string) *Store {
	t.Helper()
	s := mustOpen(t, dir)
	if err := second(t.Context(), s, 0, secondAt(0)); err != nil {
		t.Fatal(err)
	}
	return s
}

// restored is a store that comes out of a backup.
func restored(t testing.TB, backup string) *Store {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "restored")
	if err := Restore(t.Context(), backup, dir); err != nil {
		t.Fatal(err)
	}
	return mustOpen(t, dir)
}

// A passage is a store of which something else is opened next than what was
// closed: leave, called before it is closed, says which folder.
type passage struct {
	*Store
	leave func(s *Store) (next string, err error)
	next  *string
	gone  bool
}

func (p *passage) Close() error {
	if p.gone {
		return nil
	}
	p.gone = true
	next, err := p.leave(p.Store)
	if err != nil {
		return err
	}
	*p.next = next
	return p.Store.Close()
}

// The promises hold for a record that is closed and opened; that crashes between
// any two calls; that is moved by backup and restore; and all of whose files are
// built anew from nothing but the bodies in them.
func TestConformance(t *testing.T) {
	draws := map[string]string{"closed": "30", "crashed": "12", "restored": "6", "built anew": "6"}
	for name, leave := range map[string]func(t testing.TB, s *Store) (string, error){
		"closed":  func(_ testing.TB, s *Store) (string, error) { return s.dir, nil },
		"crashed": func(t testing.TB, s *Store) (string, error) { return copyDir(t, s.dir), nil },
		"restored": func(t testing.TB, s *Store) (string, error) {
			dir := t.TempDir()
			if _, err := s.Backup(context.Background(), filepath.Join(dir, "backup"), nil); err != nil {
				return "", err
			}
			next := filepath.Join(dir, "restored")
			return next, Restore(context.Background(), filepath.Join(dir, "backup"), next)
		},
		"built anew": func(_ testing.TB, s *Store) (string, error) {
			if err := s.mendMain(errCorrupt, 0); err != nil {
				return "", err
			}
			for _, one := range s.days.list() {
				if err := s.days.mendSeen(context.Background(), one.file, errCorrupt, 0); err != nil {
					return "", err
				}
			}
			return s.dir, nil
		},
	} {
		t.Run(name, func(t *testing.T) {
			if testing.Short() && name != "closed" {
				t.Skip("takes longer")
			}
			if name != "closed" {
				raced.Skip(t, "nothing runs beside anything here but what runs in the others")
			}
			checks(t, draws[name])
			hold := journaltest.Reopened
			if name == "closed" {
				hold = journaltest.Run
			}
			hold(t, func(t testing.TB) func() journal.Journal {
				dir := t.TempDir()
				return func() journal.Journal {
					return &passage{Store: mustOpen(t, dir), next: &dir, leave: func(s *Store) (string, error) { return leave(t, s) }}
				}
			})
		})
	}
}
