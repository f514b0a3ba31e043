package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"math"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

func TestOneProcessAtATime(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	if _, err := Open(t.Context(), dir, Options{Reserve: -1}); !errors.Is(err, journal.ErrInUse) {
		t.Errorf("opened twice: %v", err)
	}
	if _, err := s.Append(t.Context(), journaltest.Mark("still")); err != nil {
		t.Errorf("the first is disturbed: %v", err)
	}
	s.Close()
	mustOpen(t, dir)
}

// A body is what it is whatever the columns say, and the columns are mended.
func TestColumnsThatContradict(t *testing.T) {
	want, _, closed := fixture(t)
	day := filepath.Join(closed, dayFile(secondAt(0)))
	db, err := connect(day, writing)
	if err != nil {
		t.Fatal(err)
	}
	for _, q := range []string{
		"UPDATE blocks SET first_ord = first_ord + 1000000 WHERE number = 3 AND source = 1",
		"UPDATE blocks SET source = 99 WHERE number = 5 AND source = 2",
		"UPDATE blocks SET number = 77 WHERE number = 7 AND source = 2",
		"DELETE FROM progress",
	} {
		if _, err := db.Exec(q); err != nil {
			t.Fatal(err)
		}
	}
	db.Close()
	s := mustOpen(t, closed)
	lost, rest := lostByCheck(t, s)
	if len(rest) < 3 || lost.count() > 0 {
		t.Errorf("the check says only %v, and that %v is lost", rest, lost)
	}
	gone, told := missingOf(t, s, want)
	covers(t, gone, told)
	if err := s.Mend(t.Context()); err != nil {
		t.Fatal(err)
	}
	if gone, _ := missingOf(t, s, want); gone.count() > 0 {
		t.Errorf("%v is gone after mending", gone)
	}
	journaltest.Sound(t, s)
}

// The main file is damaged while the record is in use: it is mended, and nobody
// has to open it again.
func TestMendedWhileInUse(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	want := &journaltest.Memory{}
	for n := range 8 {
		for _, j := range []journal.Journal{s, want} {
			if err := second(t.Context(), j, n, secondAt(n)); err != nil {
				t.Fatal(err)
			}
		}
	}
	for _, file := range []string{mainName, dayFile(secondAt(0))} {
		db, err := connect(filepath.Join(dir, file), writing)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := db.Exec("PRAGMA wal_checkpoint(TRUNCATE)"); err != nil {
			t.Fatal(err)
		}
		db.Close()
	}
	cause := errors.New("somebody said so")
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			if err := s.mendMain(cause, 0); err != nil {
				t.Error(err)
			}
			if err := s.days.mendSeen(t.Context(), dayFile(secondAt(0)), cause, 0); err != nil {
				t.Error(err)
			}
		})
	}
	for n := 8; n < 16; n++ {
		for _, j := range []journal.Journal{s, want} {
			if err := second(t.Context(), j, n, secondAt(n)); err != nil {
				t.Error(err)
			}
		}
	}
	wg.Wait()
	if n := len(s.mended()); n != 2 {
		t.Errorf("mended %d times, want each file once: %v", n, s.mended())
	}
	if gone, told := missingOf(t, s, want); gone.count() > 0 || len(told) > 0 {
		t.Errorf("%v is gone, %v told", gone, told)
	}
	journaltest.Sound(t, s)
	if left, _ := filepath.Glob(filepath.Join(dir, "*.damaged-1")); len(left) != 2 {
		t.Errorf("the damaged files are not kept: %v", left)
	}
	s.Close()
	s = mustOpen(t, dir)
	if gone, _ := missingOf(t, s, want); gone.count() > 0 {
		t.Errorf("opened again: %v is gone", gone)
	}
}

// A file that is damaged again and again is not written again and again.
func TestMendingEnds(t *testing.T) {
	s := begun(t, t.TempDir())
	cause := errors.New("somebody said so")
	for n := range mostMends {
		if err := s.mendMain(cause, n); err != nil {
			t.Fatal(err)
		}
		if err := s.days.mendSeen(t.Context(), dayFile(secondAt(0)), cause, n); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.mendMain(cause, mostMends); !errors.Is(err, cause) {
		t.Errorf("the main file: %v", err)
	}
	if err := s.days.mendSeen(t.Context(), dayFile(secondAt(0)), cause, mostMends); !errors.Is(err, cause) {
		t.Errorf("the day: %v", err)
	}
}

// After a failure of the disk nothing is acknowledged, but all can be read.
func TestBroken(t *testing.T) {
	dir := t.TempDir()
	s := begun(t, dir)
	s.breakDown(journal.ErrBroken)
	if _, err := s.Append(t.Context(), journaltest.Mark("x")); !errors.Is(err, journal.ErrBroken) {
		t.Errorf("an entry: %v", err)
	}
	if err := s.AppendReadings(t.Context(), []record.Block{journaltest.Block("a/b", 900, 1, 1, journaltest.Noon)}, nil); !errors.Is(err, journal.ErrBroken) {
		t.Errorf("readings: %v", err)
	}
	if err := s.AppendReadings(t.Context(), nil, nil); !errors.Is(err, journal.ErrBroken) {
		t.Errorf("nothing: %v", err)
	}
	if r := s.Room(); r.Err == nil {
		t.Errorf("room %+v", r)
	}
	if got := journaltest.Gather(t, s.Inputs(t.Context(), 0, math.MaxUint64)); len(got) != 22 {
		t.Errorf("%d inputs can be read", len(got))
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	s = mustOpen(t, dir)
	if err := second(t.Context(), s, 1, secondAt(1)); err != nil {
		t.Errorf("opened again: %v", err)
	}
	journaltest.Sound(t, s)
}

// Whoever gives up while others commit leaves nothing behind; whoever is being
// committed is.
func TestGivingUpWhileWaiting(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	hold, held := make(chan struct{}), make(chan struct{})
	var wg sync.WaitGroup
	wg.Go(func() {
		err := s.write(t.Context(), &request{do: func(*sql.Tx) error {
			select {
			case <-held:
			default:
				close(held)
			}
			<-hold
			return nil
		}})
		if err != nil {
			t.Error(err)
		}
	})
	<-held
	patience := errors.New("no patience")
	ctx, stop := context.WithTimeoutCause(t.Context(), time.Millisecond, patience)
	defer stop()
	if _, err := s.Append(ctx, journaltest.Mark("never")); !errors.Is(err, patience) {
		t.Errorf("giving up: %v", err)
	}
	const n = most + 50 // more than one transaction takes
	for range n {
		wg.Go(func() {
			if _, err := s.Append(t.Context(), journaltest.Mark("kept")); err != nil {
				t.Error(err)
			}
		})
	}
	for { // until all of them wait
		s.group.mu.Lock()
		waiting := len(s.group.waiting)
		s.group.mu.Unlock()
		if waiting == n {
			break
		}
		time.Sleep(time.Millisecond)
	}
	close(hold)
	wg.Wait()
	all := journaltest.Gather(t, s.Entries(t.Context(), journal.Query{}))
	if len(all) != n {
		t.Errorf("%d entries, want %d", len(all), n)
	}
	for _, e := range all {
		if e.Body.(record.Mark).Text != "kept" {
			t.Errorf("%+v", e)
		}
	}
}

// An instant that no calendar shows does not stop the record.
func TestStrangeClocks(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	for i, at := range []sample.Instant{0, -1, math.MinInt64 + 1e10, math.MaxInt64 - 1e10, journaltest.Noon} {
		if err := s.AppendReadings(t.Context(), []record.Block{journaltest.Block("a/b", uint64(1+10*i), 1, 10, at)}, []record.Tick{{Ord: uint64(1000 + i), At: at}}); err != nil {
			t.Errorf("%v: %v", at, err)
		}
	}
	if got := journaltest.Gather(t, s.Inputs(t.Context(), 0, math.MaxUint64)); len(got) != 55 {
		t.Errorf("%d inputs, want 55", len(got))
	}
	journaltest.Sound(t, s)
	s.Close()
	s = mustOpen(t, dir)
	if got := journaltest.Gather(t, s.Inputs(t.Context(), 0, math.MaxUint64)); len(got) != 55 {
		t.Errorf("opened again, %d inputs, want 55", len(got))
	}
	journaltest.Sound(t, s)
}

// Two sources must not share an ordinal; nothing of such a call is kept.
func TestOrdinalOfTwo(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	err := s.AppendReadings(t.Context(), []record.Block{journaltest.Block("a/b", 7, 1, 1, journaltest.Noon), journaltest.Block("a/c", 7, 1, 1, journaltest.Noon)}, nil)
	if !errors.Is(err, journal.ErrOrder) {
		t.Errorf("error %v, want %v", err, journal.ErrOrder)
	}
	if got := journaltest.Gather(t, s.Inputs(t.Context(), 0, math.MaxUint64)); len(got) > 0 {
		t.Errorf("%d inputs were kept", len(got))
	}
	if err := s.AppendReadings(t.Context(), []record.Block{journaltest.Block("a/b", 7, 1, 1, journaltest.Noon)}, nil); err != nil {
		t.Error(err)
	}
}
