package sqlite

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// While a process writes to a record, others look at it: they have everything
// that was acknowledged before, nothing of it twice or torn, and leave neither a
// copy nor anything else.
func TestLook(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "record")
	v := startVictim(t, dir)
	looked, acked := 0, 0
	enough := func() bool { return looked >= max(3, *faults/2) }
	for deadline := time.Now().Add(2 * time.Minute); !enough() && time.Now().Before(deadline); { // for a disk that is slow
		said := v.said()
		if len(said) < 50*(looked+1) {
			time.Sleep(10 * time.Millisecond) // until it has something to say
			continue
		}
		s, err := Look(t.Context(), dir)
		if err != nil {
			t.Fatal(err)
		}
		acked = holdsAll(t, s, said)
		journaltest.Gather(t, s.Inputs(t.Context(), 1, math.MaxUint64)) // which fails for any loss
		if _, err := s.Append(t.Context(), journaltest.Mark("no")); !errors.Is(err, journal.ErrInUse) {
			t.Errorf("it could be written to: %v", err)
		}
		if err := s.AppendReadings(t.Context(), []record.Block{journaltest.Block("hub/a", 1<<40, 1, 10, journaltest.Noon)}, nil); !errors.Is(err, journal.ErrInUse) {
			t.Errorf("it could be written to: %v", err)
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
		looked++
	}
	t.Logf("%d looks, %d acknowledged before the last", looked, acked)
	if !enough() {
		t.Fatal("too few looks to prove anything")
	}
	if err := v.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	if _, err := v.Process.Wait(); err != nil {
		t.Fatal(err)
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if e.IsDir() {
			t.Errorf("there is a folder %s", e.Name())
		}
	}
	s := mustOpen(t, dir)
	defer s.Close()
	if m := s.mended(); len(m) > 0 {
		t.Errorf("looking damaged it: %v", m)
	}
	holdsAll(t, s, v.said())
}

// A day's file is there for a moment before its tables are. Whoever looks just then
// sees what was acknowledged before; a file that has lost its tables is damaged.
func TestLookWhileADayBegins(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "record")
	s := mustOpen(t, dir)
	defer s.Close()
	if err := s.AppendReadings(t.Context(), []record.Block{journaltest.Block("hub/a", 1, 1, 10, journaltest.Noon)}, nil); err != nil {
		t.Fatal(err)
	}
	tomorrow := filepath.Join(dir, dayFile(journaltest.Noon.Add(24*time.Hour)))
	if err := os.WriteFile(tomorrow, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	look := func() error {
		l, err := Look(t.Context(), dir)
		if err != nil {
			return err
		}
		if in := journaltest.Gather(t, l.Inputs(t.Context(), 1, math.MaxUint64)); len(in) == 0 {
			t.Error("what was kept before is not there")
		}
		return l.Close()
	}
	if err := look(); err != nil {
		t.Errorf("while a day begins: %v", err)
	}
	if err := s.days.register(t.Context(), filepath.Base(tomorrow)); err != nil {
		t.Fatal(err)
	}
	if err := look(); err == nil {
		t.Error("a file that is known, and has lost its tables, is not damaged")
	}
}
