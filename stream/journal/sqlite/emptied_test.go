package sqlite

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"testing"

	"weald/stream/journal"
	"weald/stream/journal/journaltest"
)

// shortSeconds are those of the record of short, the last two of them on another day, of
// which shortDay is the file.
var (
	shortSeconds = []int{0, seconds, seconds + 1}
	shortDay     = dayFile(secondAt(seconds))
)

// short makes two images of a record: as a crash would leave it, with all of the main file
// and of its last day in their logs, and as it is closed.
func short(t testing.TB) (crashed, closed string) {
	t.Helper()
	closed = t.TempDir()
	s := mustOpen(t, closed)
	for i, n := range shortSeconds {
		if err := second(t.Context(), s, i, secondAt(n)); err != nil {
			t.Fatal(err)
		}
	}
	crashed = copyDir(t, closed)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return crashed, closed
}

// isShort fails the test if anything of the record of short is not there.
func isShort(t testing.TB, name string, s *Store) {
	t.Helper()
	inputs, lost := journaltest.Losses(t, s.Inputs(t.Context(), 0, math.MaxUint64))
	if len(inputs) != 22*len(shortSeconds) || len(lost) > 0 {
		t.Errorf("%s: %d inputs are there, lost are %v", name, len(inputs), lost)
	}
	entries, lost := journaltest.Losses(t, s.Entries(t.Context(), journal.Query{}))
	if len(entries) != 2*len(shortSeconds) || len(lost) > 0 {
		t.Errorf("%s: %d entries are there, lost are %v", name, len(entries), lost)
	}
	if _, err := s.Document(t.Context(), "calibration/00", 1); err != nil {
		t.Errorf("%s: %v", name, err)
	}
}

// SQLite takes a log away without a look at it when the file that it is of is empty or
// gone. All that is in the log is kept all the same, by the main file and by a day's,
// whatever the main file says of the day; and that the file was built anew is said.
func TestAnEmptyFileCostsNoLog(t *testing.T) {
	empty := func(path string) error { return os.Truncate(path, 0) }
	crashed, closed := short(t)
	late := copyDir(t, closed) // its last day was sealed while somebody read it
	for _, suffix := range []string{"", "-wal"} {
		copyTest(t, filepath.Join(late, shortDay+suffix), filepath.Join(crashed, shortDay+suffix))
	}
	for name, c := range map[string]struct {
		image, file string
		damage      func(string) error
	}{
		"the main file":         {crashed, mainName, empty},
		"no main file":          {crashed, mainName, os.Remove},
		"a day":                 {crashed, shortDay, empty},
		"a day that was sealed": {late, shortDay, empty},
	} {
		dir := copyDir(t, c.image)
		if err := c.damage(filepath.Join(dir, c.file)); err != nil {
			t.Fatal(err)
		}
		if l, err := Look(t.Context(), dir); err == nil { // a look mends nothing, and must not do harm
			journaltest.Losses(t, l.Inputs(t.Context(), 0, math.MaxUint64))
			if err := l.Close(); err != nil {
				t.Error(err)
			}
		}
		s := mustOpen(t, dir)
		isShort(t, name, s)
		if found := s.mended(); len(found) != 1 || found[0].File != c.file || !errors.Is(found[0].Err, errEmptied) {
			t.Errorf("%s: noted: %v", name, found)
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
		isShort(t, name+", opened again", mustOpen(t, dir))
	}
}

// A day's file that is deleted on purpose is gone whenever that is cut off: no log is left
// alone that could be taken for what is left of it.
func TestNoLogOutlivesADeletedDay(t *testing.T) {
	crashed, _ := short(t)
	s := mustOpen(t, crashed)
	log := s.days.path(shortDay) + "-wal"
	if err := os.Remove(log); err != nil && !os.IsNotExist(err) {
		t.Fatal(err)
	}
	if err := os.MkdirAll(filepath.Join(log, "in the way"), 0o700); err != nil { // so that it cannot be removed
		t.Fatal(err)
	}
	if err := s.days.remove(t.Context(), shortDay); err == nil {
		t.Error("it was removed although its log is there")
	}
	if _, err := os.Stat(s.days.path(shortDay)); err != nil {
		t.Errorf("its log outlived it: %v", err)
	}
}

// What a reader cannot end is ended by the next start, also in the file of a day that was
// sealed: a change of which a crash left half. Nothing is built anew for it.
func TestAHalfChangeIsTakenBack(t *testing.T) {
	_, dir := short(t)
	db, err := connect(filepath.Join(dir, shortDay), writing)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	tx, err := db.Begin()
	if err != nil {
		t.Fatal(err)
	}
	defer tx.Rollback()
	for _, q := range []string{"PRAGMA cache_size = 1", "UPDATE blocks SET body = zeroblob(length(body))"} { // more than it keeps in memory
		if _, err := tx.Exec(q); err != nil {
			t.Fatal(err)
		}
	}
	crashed := copyDir(t, dir)
	if info, err := os.Stat(filepath.Join(crashed, shortDay+"-journal")); err != nil || info.Size() == 0 {
		t.Fatalf("nothing is half done: %v", err)
	}
	s := mustOpen(t, crashed)
	isShort(t, "half changed", s)
	if found := s.mended(); len(found) > 0 {
		t.Errorf("it was built anew: %v", found)
	}
}

// A log beside an old day that cannot be read keeps no record from being opened, nor what
// else is in it from being had.
func TestAnUnreadableLogOfASealedDay(t *testing.T) {
	_, dir := short(t)
	if err := os.Mkdir(filepath.Join(dir, shortDay+"-wal"), 0o700); err != nil { // nobody can read it, root neither
		t.Fatal(err)
	}
	s, err := Open(t.Context(), dir, Options{Reserve: -1})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if got := journaltest.Gather(t, s.Entries(t.Context(), journal.Query{})); len(got) != 2*len(shortSeconds) {
		t.Errorf("%d entries", len(got))
	}
	if got := journaltest.Gather(t, s.Inputs(t.Context(), 0, 32)); len(got) != 22 {
		t.Errorf("%d inputs of the day before, want 22", len(got))
	}
}
