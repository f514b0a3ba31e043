package sqlite

import (
	"errors"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// Nobody but who runs the daemon can read the record: neither its files, their logs and
// indexes, the reserve, what was mended, nor a backup of it.
func TestNobodyElseMayRead(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "record")
	s := mustOpen(t, dir)
	for _, n := range []int{0, seconds} {
		if err := second(t.Context(), s, n, secondAt(n)); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.mendMain(errCorrupt, 0); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Append(t.Context(), journaltest.Mark("into a new log")); err != nil {
		t.Fatal(err)
	}
	backup := filepath.Join(filepath.Dir(dir), "backup")
	if _, err := s.Backup(t.Context(), backup, nil); err != nil {
		t.Fatal(err)
	}
	restored := filepath.Join(filepath.Dir(dir), "restored")
	if err := Restore(t.Context(), backup, restored); err != nil {
		t.Fatal(err)
	}
	seen := 0
	for _, root := range []string{dir, backup, restored} {
		err := filepath.WalkDir(root, func(path string, e fs.DirEntry, err error) error {
			if err != nil {
				return err
			}
			info, err := e.Info()
			if err == nil && info.Mode().Perm()&0o077 != 0 {
				t.Errorf("others may use %s: %v", path, info.Mode())
			}
			seen++
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	if seen < 15 {
		t.Errorf("only %d files were looked at", seen)
	}
}

// The same folder by another name is the same record: one process at a time has it.
func TestOneOpenerByAnyName(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "record")
	s := mustOpen(t, dir)
	if _, err := s.Append(t.Context(), journaltest.Mark("one")); err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(t.TempDir(), "link")
	if err := os.Symlink(dir, name); err != nil {
		t.Skip(err)
	}
	before := contents(t, dir)
	for range 2 {
		if _, err := Open(t.Context(), name, Options{Reserve: testReserve}); !errors.Is(err, journal.ErrInUse) {
			t.Errorf("opened by another name: %v", err)
		}
	}
	unchanged(t, "the second opener", before, contents(t, dir))
	if _, err := s.Append(t.Context(), journaltest.Mark("two")); err != nil {
		t.Errorf("the first is disturbed: %v", err)
	}
	s.Close()
	s, err := Open(t.Context(), name, Options{Reserve: testReserve})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if got := journaltest.Gather(t, s.Entries(t.Context(), journal.Query{})); len(got) != 2 {
		t.Errorf("%d entries, want 2", len(got))
	}
}

// A file is no folder for a record, and stays what it is.
func TestAFileIsNoFolder(t *testing.T) {
	path := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(path, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, dir := range []string{path, filepath.Join(path, "within")} {
		if s, err := Open(t.Context(), dir, Options{Reserve: -1}); err == nil {
			s.Close()
			t.Errorf("%s was opened", dir)
		}
		if s, err := Look(t.Context(), dir); err == nil {
			s.Close()
			t.Errorf("%s was looked at", dir)
		}
	}
	if b, err := os.ReadFile(path); err != nil || string(b) != "mine" {
		t.Errorf("it is %q now, %v", b, err)
	}
}

// A crash left logs, and somebody takes one of them away, or all: what was only in them is
// gone. What is left is as it was written, without holes that nobody tells of, and the
// record goes on from there.
func TestLogsThatAreGone(t *testing.T) {
	want, crashed, _ := fixture(t)
	last := dayFile(secondAt(seconds - 1))
	for name, gone := range map[string][]string{
		"the main file's": {mainName}, "a day's": {last}, "all": {mainName, last, dayFile(secondAt(0))},
	} {
		dir := copyDir(t, crashed)
		for _, file := range gone {
			for _, suffix := range []string{"-wal", "-shm"} {
				if err := os.Remove(filepath.Join(dir, file+suffix)); err != nil && !errors.Is(err, fs.ErrNotExist) {
					t.Fatal(err)
				}
			}
		}
		s := mustOpen(t, dir)
		missed, lost := missingOf(t, s, want)
		// What is gone is the end of what was kept, so that nothing in between is missing.
		for source, numbers := range missed {
			if source == "documents" {
				continue
			}
			end := uint64(seconds)
			if source == journal.Entries {
				end = 2 * seconds
			}
			if len(numbers) != 1 || numbers[0].last != end {
				t.Errorf("%s: of %q there are gone %v, and told %v", name, source, numbers, lost)
			}
		}
		if name == "a day's" && len(missed[journal.Entries]) > 0 || name == "the main file's" && len(missed[sources[0]]) > 0 {
			t.Errorf("%s: of another file there is gone %v", name, missed)
		}
		if err := second(t.Context(), s, 1000, secondAt(seconds)); err != nil {
			t.Errorf("%s: it does not go on: %v", name, err)
		}
		s.Close()
		s = mustOpen(t, dir)
		if got, _ := journaltest.Losses(t, s.Inputs(t.Context(), 32*1000+1, math.MaxUint64)); len(got) != 22 {
			t.Errorf("%s: what came after is %d inputs, want 22", name, len(got))
		}
		s.Close()
	}
}

// The main file is gone, and the days are there: numbers of sources and ordinals go on
// where the days say, so that nothing is given twice.
func TestDaysWithoutTheirMainFile(t *testing.T) {
	_, _, closed := fixture(t)
	if err := os.Remove(filepath.Join(closed, mainName)); err != nil {
		t.Fatal(err)
	}
	s := mustOpen(t, closed)
	if got := journaltest.Gather(t, s.Inputs(t.Context(), 0, math.MaxUint64)); len(got) != 21*seconds {
		t.Errorf("%d inputs, want %d", len(got), 21*seconds)
	}
	h, err := s.Head(t.Context())
	if err != nil || h.Position != 0 || h.Ord != 32*(seconds-1)+21 {
		t.Errorf("head %+v, %v", h, err)
	}
	b := []record.Block{journaltest.Block(sources[1], 100_000, 1, 1, secondAt(seconds))}
	if err := s.AppendReadings(t.Context(), b, nil); err != nil || b[0].Number != seconds+1 {
		t.Errorf("the next block has number %d, %v", b[0].Number, err)
	}
	if err := s.AppendReadings(t.Context(), []record.Block{journaltest.Block(sources[1], 50, 1, 1, secondAt(seconds))}, nil); !errors.Is(err, journal.ErrOrder) {
		t.Errorf("an ordinal of former times: %v", err)
	}
	journaltest.Sound(t, s)
}

// Files that are none of the record's lie in its folder: they are neither read, nor
// counted, nor deleted, nor backed up, whatever they are called.
func TestStrangersInTheFolder(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	diary(t, s, 2)
	for _, name := range []string{"notes.txt", "readings.csv", "readings-2026-03-01.db.bak", "weald.db.old", "backup.json"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte("mine"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	s.Close()
	s = mustOpen(t, dir)
	if n := len(s.days.list()); n != 2 {
		t.Errorf("%d days, want 2", n)
	}
	to := filepath.Join(t.TempDir(), "backup")
	m, err := s.Backup(t.Context(), to, nil)
	if err != nil || len(m.Files) != 3 {
		t.Errorf("the backup has %+v, %v", m, err)
	}
	if err := s.Retire(t.Context(), plan(t, s, journal.Limits{journal.Readings: {Bytes: 1}}, journaltest.Noon)); err != nil {
		t.Fatal(err)
	}
	journaltest.Sound(t, s)
	for name, b := range contents(t, dir) {
		if !strings.HasSuffix(name, ".db") && !strings.HasSuffix(name, "-wal") && name != lockName && string(b) != "mine" {
			t.Errorf("%s is %q now", name, b)
		}
	}
	if left, _ := os.ReadDir(dir); len(left) < 8 {
		t.Errorf("left are %v", left)
	}
}
