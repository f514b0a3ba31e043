package sqlite

import (
	"errors"
	"math"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"golang.org/x/sys/unix"

	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// aloneMark, when it is set, says that this is a process of alone.
const aloneMark = "WEALD_TEST_ALONE"

// alone runs a test in a process of its own, and reports whether this is that process: what
// the system refuses to one file of a process it refuses to all, those of the tests too.
func alone(t *testing.T) bool {
	t.Helper()
	if os.Getenv(aloneMark) != "" {
		return true
	}
	cmd := exec.Command(os.Args[0], "-test.v", "-test.run=^"+t.Name()+"$")
	cmd.Env = append(os.Environ(), aloneMark+"=1")
	out, err := cmd.CombinedOutput()
	switch {
	case err != nil:
		t.Errorf("%v\n%s", err, out)
	case strings.Contains(string(out), "--- SKIP"):
		t.Skipf("%s", out)
	case !strings.Contains(string(out), "--- PASS: "+t.Name()):
		t.Errorf("it did not run:\n%s", out)
	}
	return false
}

// refusing lets the system refuse, while f runs, every write behind the first n bytes of a
// file. That is no full disk: nothing says that it will get better.
func refusing(t testing.TB, n int64, f func()) {
	t.Helper()
	var was unix.Rlimit
	if err := unix.Getrlimit(unix.RLIMIT_FSIZE, &was); err != nil {
		t.Fatal(err)
	}
	signal.Ignore(unix.SIGXFSZ)
	defer signal.Reset(unix.SIGXFSZ)
	if err := unix.Setrlimit(unix.RLIMIT_FSIZE, &unix.Rlimit{Cur: uint64(n), Max: was.Max}); err != nil {
		t.Skipf("no limit of the size of files here: %v", err)
	}
	defer func() {
		if err := unix.Setrlimit(unix.RLIMIT_FSIZE, &was); err != nil {
			t.Fatal(err)
		}
	}()
	f()
}

// sizeOf returns the size of a file.
func sizeOf(t testing.TB, path string) int64 {
	t.Helper()
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	return info.Size()
}

// The disk refuses a write of a call, whichever of them it is. The call says so, and so
// does every later one; what had been acknowledged can still be read. After the next start
// all of that is there and nothing of the call that failed, and it can be made again.
func TestEachWriteOfACallIsRefused(t *testing.T) {
	if !alone(t) {
		return
	}
	image := t.TempDir()
	s := mustOpen(t, image)
	for n := range 6 { // so that both logs are longer than whatever else is written
		if err := second(t.Context(), s, n, secondAt(n)); err != nil {
			t.Fatal(err)
		}
	}
	image = copyDir(t, image)
	s.Close()
	day := dayFile(secondAt(0))
	for name, c := range map[string]struct {
		log  string
		call func(s *Store) error
	}{
		"entries": {mainName, func(s *Store) error {
			return only(s.Append(t.Context(), journaltest.Act(1<<20), journaltest.Mark("long"+string(make([]byte, 6000)))))
		}},
		"a document": {mainName, func(s *Store) error {
			return only(s.PutDocument(t.Context(), record.Document{Name: "new", Body: make([]byte, 9000)}))
		}},
		"readings": {day, func(s *Store) error {
			return s.AppendReadings(t.Context(), []record.Block{matBlock(sources[0], 1<<20, 1200, 10, secondAt(7))}, nil)
		}},
	} {
		// What the call writes when nothing is refused.
		dir := copyDir(t, image)
		s := mustOpen(t, dir)
		counts := func(s *Store) (entries, inputs, documents int) {
			t.Helper()
			return len(journaltest.Gather(t, s.Entries(t.Context(), journal.Query{}))), len(journaltest.Gather(t, s.Inputs(t.Context(), 0, math.MaxUint64))),
				len(journaltest.Gather(t, s.Documents(t.Context(), "")))
		}
		wantEntries, wantInputs, wantDocuments := counts(s)
		if err := s.days.turn(t.Context(), day); err != nil { // it is open when the call comes
			t.Fatal(err)
		}
		log := filepath.Join(dir, c.log+"-wal")
		before := sizeOf(t, log)
		if err := c.call(s); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		after := sizeOf(t, log)
		s.Close()
		if after < before+2*frameSize {
			t.Fatalf("%s: the log grew from %d to %d bytes only", name, before, after)
		}
		for _, at := range []int64{before, before + frameSize + 100, after - 1} {
			dir := copyDir(t, image)
			s := mustOpen(t, dir)
			if err := s.days.turn(t.Context(), day); err != nil {
				t.Fatal(err)
			}
			refusing(t, at, func() {
				if err := c.call(s); !errors.Is(err, journal.ErrBroken) || errors.Is(err, journal.ErrFull) {
					t.Errorf("%s, behind byte %d: %v", name, at, err)
				}
			})
			if r := s.Room(); !errors.Is(r.Err, journal.ErrBroken) {
				t.Errorf("%s, behind byte %d: room %+v", name, at, r)
			}
			if err := c.call(s); !errors.Is(err, journal.ErrBroken) {
				t.Errorf("%s, behind byte %d: once more: %v", name, at, err)
			}
			if e, i, d := counts(s); e != wantEntries || i != wantInputs || d != wantDocuments {
				t.Errorf("%s, behind byte %d: %d entries, %d inputs and %d documents can be read, want %d, %d and %d", name, at, e, i, d, wantEntries, wantInputs, wantDocuments)
			}
			s.Close()
			s = mustOpen(t, dir)
			if e, i, d := counts(s); e != wantEntries || i != wantInputs || d != wantDocuments || len(s.mended()) > 0 {
				t.Errorf("%s, behind byte %d: after a start there are %d entries, %d inputs and %d documents, want %d, %d and %d; mended %v",
					name, at, e, i, d, wantEntries, wantInputs, wantDocuments, s.mended())
			}
			if err := c.call(s); err != nil {
				t.Errorf("%s, behind byte %d: after a start: %v", name, at, err)
			}
			journaltest.Sound(t, s)
			s.Close()
		}
	}
}

// A backup whose writing is refused is none, leaves nothing, and does not trouble the
// record; one that cannot be restored for that says so.
func TestRefusedBackups(t *testing.T) {
	if !alone(t) {
		return
	}
	dir := t.TempDir()
	s := mustOpen(t, dir)
	for n := range 3 {
		if err := second(t.Context(), s, n, secondAt(n)); err != nil {
			t.Fatal(err)
		}
	}
	beside := t.TempDir()
	to := filepath.Join(beside, "backup")
	for _, at := range []int64{0, pageSize, 10*pageSize + 1} {
		refusing(t, at, func() {
			if m, err := s.Backup(t.Context(), to, nil); err == nil {
				t.Errorf("behind byte %d: a backup %+v", at, m)
			}
		})
		if left, err := os.ReadDir(beside); err != nil || len(left) > 0 {
			t.Errorf("behind byte %d there is %v, %v", at, left, err)
		}
	}
	if err := second(t.Context(), s, 3, secondAt(3)); err != nil || s.Room().Err != nil {
		t.Errorf("the record suffers: %v, %+v", err, s.Room())
	}
	if _, err := s.Backup(t.Context(), to, nil); err != nil {
		t.Fatal(err)
	}
	before := contents(t, to)
	refusing(t, 2*pageSize, func() {
		if err := Restore(t.Context(), to, filepath.Join(beside, "restored")); err == nil {
			t.Error("it was restored")
		}
	})
	if _, err := os.Stat(filepath.Join(beside, "restored", mainName)); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("what was not restored has a main file: %v", err)
	}
	unchanged(t, "restored in vain", before, contents(t, to))
}

// A reserve that cannot be made leaves no half of one, which would count as room.
func TestRefusedReserve(t *testing.T) {
	if !alone(t) {
		return
	}
	dir := t.TempDir()
	mustOpen(t, dir).Close()
	if err := os.Remove(filepath.Join(dir, reserveName)); err != nil {
		t.Fatal(err)
	}
	refusing(t, testReserve/2, func() {
		if s, err := Open(t.Context(), dir, Options{Reserve: testReserve}); err == nil {
			s.Close()
			t.Error("it opened")
		} else if errors.Is(err, journal.ErrFull) {
			t.Errorf("it was taken for a full disk: %v", err)
		}
	})
	if _, err := os.Stat(filepath.Join(dir, reserveName)); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("there is half of a reserve: %v", err)
	}
	s := mustOpen(t, dir) // and the lock was given back
	if r := s.Room(); !r.Reserve || r.Full {
		t.Errorf("room %+v", r)
	}
}

// A day's file is full. The call is refused as a whole, for want of room, and takes no
// number; entries go on, and what may not use the reserve waits with the readings. When
// there is room the same call is kept, with the number that it would have had.
func TestFullDay(t *testing.T) {
	s := begun(t, t.TempDir())
	pages := func(statement string) {
		t.Helper()
		if _, err := s.days.w.Exec(statement); err != nil {
			t.Fatal(err)
		}
	}
	var n int
	if err := s.days.w.QueryRow("PRAGMA page_count").Scan(&n); err != nil {
		t.Fatal(err)
	}
	pages("PRAGMA max_page_count = 1") // no fewer than there are
	call := []record.Block{matBlock(sources[0], 100, 1200, 10, secondAt(1)), journaltest.Block("hub/new", 110, 1, 10, secondAt(1))}
	ticks := []record.Tick{{Ord: 120, At: secondAt(1)}}
	for range 2 {
		if err := s.AppendReadings(t.Context(), slices.Clone(call), ticks); !errors.Is(err, journal.ErrFull) {
			t.Fatalf("a full day: %v", err)
		}
		if r := s.Room(); !r.Full || !r.Reserve || r.Err != nil {
			t.Errorf("room %+v", r)
		}
	}
	if _, err := s.Append(t.Context(), journaltest.Mark("goes on")); err != nil {
		t.Errorf("an entry: %v", err)
	}
	for name, err := range map[string]error{
		"a document": only(s.PutDocument(t.Context(), record.Document{Name: "x", Body: []byte("y")})),
		"a snapshot": s.PutSnapshot(t.Context(), record.Snapshot{}),
		"history":    s.PutHistory(t.Context(), record.Stretch{Place: "p", Series: "s", Tier: record.Second, Points: []record.Point{{}}}),
	} {
		if !errors.Is(err, journal.ErrFull) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if h, err := s.Head(t.Context()); err != nil || h.Ord != 22 || h.Position != 3 {
		t.Errorf("head %+v, %v", h, err)
	}
	if got := journaltest.Gather(t, s.Inputs(t.Context(), 0, math.MaxUint64)); len(got) != 22 {
		t.Errorf("%d inputs, want 22", len(got))
	}
	pages("PRAGMA max_page_count = 1000000")
	if err := s.AppendReadings(t.Context(), call, ticks); err != nil || call[0].Number != 2 || call[1].Number != 1 {
		t.Errorf("when there is room: numbers %d and %d, %v", call[0].Number, call[1].Number, err)
	}
	if r := s.Room(); r.Full {
		t.Errorf("room %+v", r)
	}
	journaltest.Sound(t, s)
	if since, until, bytes, ok := s.Extent(); !ok || since != secondAt(0) || until != secondAt(1)+9e8 || bytes < int64(n)*pageSize {
		t.Errorf("readings from %v to %v, in %d bytes; any: %v", since, until, bytes, ok)
	}
	if _, _, bytes, ok := mustOpen(t, t.TempDir()).Extent(); ok || bytes != 0 {
		t.Errorf("where there are none they take %d bytes; any: %v", bytes, ok)
	}
}
