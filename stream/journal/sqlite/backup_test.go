package sqlite

import (
	"context"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"weald/stream/journal"
	"weald/stream/journal/journaltest"
)

// verified returns what Verify says.
func verified(t testing.TB, dir string) (all []journal.Finding) {
	t.Helper()
	for f, err := range Verify(t.Context(), dir) {
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, f)
	}
	return all
}

// A backup is restored elsewhere, and is the same record.
func TestBackupAndRestore(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	want := &journaltest.Memory{}
	for n := range seconds {
		for _, j := range []journal.Journal{s, want} {
			if err := second(t.Context(), j, n, secondAt(n)); err != nil {
				t.Fatal(err)
			}
		}
	}
	to := filepath.Join(t.TempDir(), "backup")
	calls, last := 0, int64(0)
	m, err := s.Backup(t.Context(), to, func(done, known int64) {
		if calls++; done < last || done > known {
			t.Errorf("progress %d of %d after %d", done, known, last)
		}
		last = done
	})
	if err != nil {
		t.Fatal(err)
	}
	if h, _ := s.Head(t.Context()); m.Position != h.Position || m.Ord != h.Ord || len(m.Files) != 3 || m.Sources["hub/mat"] != seconds || calls < 3 {
		t.Errorf("the manifest says %+v after %d reports; the head is %+v", m, calls, h)
	}
	if f := verified(t, to); len(f) > 0 {
		t.Errorf("a fresh backup: %v", f)
	}
	// It can be on something that cannot be written to.
	names, err := os.ReadDir(to)
	if err != nil || len(names) != 4 {
		t.Errorf("in the backup: %v, %v", names, err)
	}

	r := restored(t, to)
	if gone, told := missingOf(t, r, want); gone.count() > 0 || len(told) > 0 {
		t.Errorf("%v is gone, and %v is told to be lost", gone, told)
	}
	journaltest.Sound(t, r)
	for _, j := range []journal.Journal{r, want} { // and it goes on where it was
		if err := second(t.Context(), j, seconds, secondAt(seconds)); err != nil {
			t.Error(err)
		}
	}
	if gone, _ := missingOf(t, r, want); gone.count() > 0 {
		t.Errorf("going on: %v is gone", gone)
	}
}

// Backups are made while everybody writes. Each is of one instant: it has all
// that was acknowledged before it began, and is in order.
func TestBackupWhileWriting(t *testing.T) {
	dir := t.TempDir()
	s := begun(t, dir)
	ctx, stop := context.WithCancel(t.Context())
	var wg sync.WaitGroup
	wg.Go(func() {
		for n := 1; ctx.Err() == nil; n++ {
			// Days change back and forth, so that files are sealed and reopened.
			if err := second(ctx, s, n, secondAt(n*5%seconds)); err != nil && ctx.Err() == nil {
				t.Error(err)
				return
			}
		}
	})
	for range 2 {
		wg.Go(func() {
			for ctx.Err() == nil {
				if _, err := s.Append(ctx, journaltest.Mark("beside")); err != nil && ctx.Err() == nil {
					t.Error(err)
					return
				}
			}
		})
	}
	for range 5 {
		before, _ := s.Head(t.Context())
		to := filepath.Join(t.TempDir(), "backup")
		m, err := s.Backup(t.Context(), to, nil)
		if err != nil {
			t.Fatal(err)
		}
		if m.Position < before.Position || m.Ord < before.Ord {
			t.Errorf("backup of %d and %d, begun at %+v", m.Position, m.Ord, before)
		}
		if f := verified(t, to); len(f) > 0 {
			t.Fatalf("a backup under load: %v", f)
		}
		r := restored(t, to)
		if h, _ := r.Head(t.Context()); h.Position != m.Position || h.Ord != m.Ord {
			t.Errorf("restored %+v, the manifest says %d and %d", h, m.Position, m.Ord)
		}
		ord := uint64(0)
		for in, err := range r.Inputs(t.Context(), 1, math.MaxUint64) {
			if err != nil {
				t.Fatal(err)
			}
			if in.Ord <= ord {
				t.Fatalf("ordinal %d after %d", in.Ord, ord)
			}
			ord = in.Ord
		}
		r.Close()
	}
	stop()
	wg.Wait()
	journaltest.Sound(t, s)
}

// Whatever happens to a backup, Verify sees it, and Restore refuses it.
func TestDamagedBackups(t *testing.T) {
	_, _, closed := fixture(t)
	s := mustOpen(t, closed)
	to := filepath.Join(t.TempDir(), "backup")
	if _, err := s.Backup(t.Context(), to, nil); err != nil {
		t.Fatal(err)
	}
	day := dayFile(secondAt(0))
	for name, damage := range map[string]func(dir string) error{
		"a bit of a day":      func(dir string) error { flip(t, filepath.Join(dir, day), 50_000, 1); return nil },
		"a bit of the main":   func(dir string) error { flip(t, filepath.Join(dir, mainName), 9_000, 1); return nil },
		"a day is missing":    func(dir string) error { return os.Remove(filepath.Join(dir, day)) },
		"the main is missing": func(dir string) error { return os.Remove(filepath.Join(dir, mainName)) },
		"a day is cut":        func(dir string) error { return os.Truncate(filepath.Join(dir, day), 3*pageSize) },
		"another day's": func(dir string) error {
			return os.Rename(filepath.Join(dir, day), filepath.Join(dir, dayFile(secondAt(seconds))))
		},
	} {
		dir := copyDir(t, to)
		if err := damage(dir); err != nil {
			t.Fatal(err)
		}
		if f := verified(t, dir); len(f) == 0 {
			t.Errorf("%s: nothing was found", name)
		}
		if err := Restore(t.Context(), dir, filepath.Join(t.TempDir(), "x")); err == nil {
			t.Errorf("%s: it was restored", name)
		}
	}
	for name, text := range map[string]string{"no manifest": "", "another format": `{"format":2}`, "no JSON": "{"} {
		dir := copyDir(t, to)
		path := filepath.Join(dir, manifestName)
		if err := os.Remove(path); err != nil {
			t.Fatal(err)
		}
		if text != "" {
			if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		if err := Restore(t.Context(), dir, filepath.Join(t.TempDir(), "x")); err == nil {
			t.Errorf("%s: it was restored", name)
		}
	}
}

// Nothing is overwritten, and what was begun and not ended is no backup.
func TestBackupRefuses(t *testing.T) {
	dir := t.TempDir()
	s := begun(t, dir)
	if _, err := s.Backup(t.Context(), dir, nil); err == nil || !strings.Contains(err.Error(), "not empty") {
		t.Errorf("over a record: %v", err)
	}
	ctx, stop := context.WithCancel(t.Context())
	stop()
	to := filepath.Join(t.TempDir(), "backup")
	if _, err := s.Backup(ctx, to, nil); !errors.Is(err, context.Canceled) {
		t.Errorf("with a context that has ended: %v", err)
	}
	if left, _ := os.ReadDir(filepath.Dir(to)); len(left) > 0 {
		t.Errorf("left over: %v", left)
	}
	if _, err := s.Backup(t.Context(), to, nil); err != nil {
		t.Fatal(err)
	}
	if err := Restore(t.Context(), to, dir); err == nil || !strings.Contains(err.Error(), "not empty") {
		t.Errorf("restored over a record: %v", err)
	}
	s.Close()
	if _, err := s.Backup(t.Context(), to+"2", nil); !errors.Is(err, journal.ErrClosed) {
		t.Errorf("of a closed record: %v", err)
	}
}
