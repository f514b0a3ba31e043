package sqlite

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// A sulky log refuses the first calls.
type sulky struct {
	journal.Log
	refuses int
}

func (l *sulky) Append(ctx context.Context, entries ...record.Entry) (record.Position, error) {
	if l.refuses > 0 {
		l.refuses--
		return 0, journal.ErrFull
	}
	return l.Log.Append(ctx, entries...)
}

// What was mended is written into the record once, however often that is asked for, and as
// soon as there is room; every check tells it ever after, also after a start, a backup and
// another mending.
func TestWhatWasMendedIsKept(t *testing.T) {
	dir := t.TempDir()
	s := begun(t, dir)
	told := func(s *Store) (texts []string) {
		t.Helper()
		for f, err := range s.Check(t.Context()) {
			if err != nil || f.Trouble != journal.Mended {
				t.Errorf("%v, %v", f, err)
			}
			texts = append(texts, f.Text)
		}
		return texts
	}
	s.KeepMended(t.Context(), s) // nothing was: no entry
	if h, _ := s.Head(t.Context()); h.Position != 2 {
		t.Fatalf("head %+v", h)
	}
	day := dayFile(secondAt(0))
	if err := s.mendMain(errors.New("a first time"), 0); err != nil {
		t.Fatal(err)
	}
	if err := s.days.mendSeen(t.Context(), day, errors.New("a second time"), 0); err != nil {
		t.Fatal(err)
	}
	log := &sulky{s, 2}
	for range 2 {
		s.KeepMended(t.Context(), log)
		if got := told(s); len(got) > 0 {
			t.Errorf("it is told before there was room: %q", got)
		}
	}
	ended, end := context.WithCancel(t.Context())
	end()
	s.KeepMended(ended, log) // whose patience has an end does not keep it from being kept
	for range 2 {
		s.KeepMended(t.Context(), log)
		if got := told(s); len(got) != 2 || !strings.Contains(got[0], "a first time") || !strings.Contains(got[1], "a second time") || !strings.Contains(got[1], day) {
			t.Errorf("the check tells %q", got)
		}
	}
	if err := s.days.mendSeen(t.Context(), day, errors.New("a third time"), 1); err != nil {
		t.Fatal(err)
	}
	s.KeepMended(t.Context(), log)
	if got := told(s); len(got) != 3 || !strings.Contains(got[2], "a third time") {
		t.Errorf("the check tells %q", got)
	}
	to := filepath.Join(t.TempDir(), "backup")
	if _, err := s.Backup(t.Context(), to, nil); err != nil {
		t.Fatal(err)
	}
	if f := verified(t, to); len(f) > 0 {
		t.Errorf("what was mended makes a backup bad: %v", f)
	}
	s.Close()
	s = mustOpen(t, dir)
	s.KeepMended(t.Context(), s)
	if got := told(s); len(got) != 3 {
		t.Errorf("after a start the check tells %q", got)
	}
	// A fault of anything else is none of a file.
	if _, err := s.Append(t.Context(), record.Entry{At: journaltest.Noon, Written: journaltest.Noon, Body: record.Fault{Subject: "bridge hub", Text: "no such port"}}); err != nil {
		t.Fatal(err)
	}
	if got := told(s); len(got) != 3 {
		t.Errorf("a fault of a bridge is told: %q", got)
	}
}

// Each time that a file is damaged it gets a name of its own beside the new one, with its
// log; none of former times is overwritten, and all are named.
func TestDamagedFilesPileUp(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	if err := os.WriteFile(filepath.Join(dir, mainName+damagedMark+"1"), []byte("of an earlier start"), 0o600); err != nil {
		t.Fatal(err)
	}
	for n := range 2 {
		if err := second(t.Context(), s, n, secondAt(n)); err != nil {
			t.Fatal(err)
		}
		if err := s.mendMain(errCorrupt, n); err != nil {
			t.Fatal(err)
		}
	}
	if b, err := os.ReadFile(filepath.Join(dir, mainName+damagedMark+"1")); err != nil || string(b) != "of an earlier start" {
		t.Errorf("what lay there is %d bytes now, %v", len(b), err)
	}
	names := strings.Join(s.Damaged(), " ")
	for _, n := range []string{"1", "2", "3"} {
		if !strings.Contains(names, mainName+damagedMark+n) {
			t.Errorf("there is no damaged file %s: %s", n, names)
		}
	}
	// A damaged file is a record of its own time: what was in it can be found in it.
	p, err := openPages(filepath.Join(dir, mainName+damagedMark+"2"), filepath.Join(dir, mainName+damagedMark+"2-wal"))
	if err != nil {
		t.Fatal(err)
	}
	defer p.close()
	marks := 0
	for b := range p.bodies(p.frames, true) {
		if e, err := record.DecodeEntry(b); err == nil && e.Position == 2 {
			marks++
		}
	}
	if marks == 0 {
		t.Error("what the first damaged file held is not in it")
	}
	journaltest.Sound(t, s)
}

// A file whose place somebody takes while it is mended, so that it cannot be opened again,
// ends all writing, and says so; what waits is not left waiting.
func TestMendingThatFails(t *testing.T) {
	dir := t.TempDir()
	s := begun(t, dir)
	// A folder that is not empty, in the place of the file that is to be built anew.
	if err := os.MkdirAll(filepath.Join(dir, mainName+mendingSuffix, "x"), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := s.mendMain(errCorrupt, 0); err == nil {
		t.Fatal("it could be mended")
	}
	if got := journaltest.Gather(t, s.Entries(t.Context(), journal.Query{})); len(got) != 2 {
		t.Errorf("%d entries, want 2", len(got))
	}
	if got := s.Damaged(); len(got) > 0 {
		t.Errorf("put aside: %v", got)
	}
	// It is open again, as it was: nothing was wrong with it.
	if _, err := s.Append(t.Context(), journaltest.Mark("on")); err != nil {
		t.Errorf("going on: %v", err)
	}
	if err := s.days.mendSeen(t.Context(), dayFile(secondAt(0)), errCorrupt, 0); err != nil {
		t.Errorf("another file: %v", err)
	}
	if err := second(t.Context(), s, 1, secondAt(1)); err != nil {
		t.Error(err)
	}
	if err := os.RemoveAll(filepath.Join(dir, mainName+mendingSuffix)); err != nil {
		t.Fatal(err)
	}
	journaltest.Sound(t, s)
	s.Close()
	journaltest.Sound(t, mustOpen(t, dir))
}
