package sqlite

import (
	"errors"
	"fmt"
	"testing"

	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// followed returns how far a store has come in a log.
func followed(t testing.TB, s *Store) Followed {
	t.Helper()
	f, err := s.Followed(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// How far a store has come in a log is kept with what came from there, whichever call it
// was: what a crash leaves has both or neither. A call that is refused moves nothing.
func TestFollowedWithTheCall(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	if f := followed(t, s); f != (Followed{}) {
		t.Errorf("a record that follows nothing has come to %+v", f)
	}
	ctx := t.Context()
	if err := s.AppendReadings(ctx, []record.Block{journaltest.Block("hub/a", 1, 1, 10, journaltest.Noon)}, nil); err != nil {
		t.Fatal(err)
	}
	at := Followed{Log: "log-1", Term: 3, Writer: "ward-a"}
	calls := []func(f Followed) error{
		func(f Followed) error {
			_, err := s.Append(Following(ctx, f), journaltest.Act(50+f.Applied))
			return err
		},
		func(f Followed) error {
			_, err := s.PutDocument(Following(ctx, f), record.Document{Name: fmt.Sprint(f.Applied), Body: []byte("b")})
			return err
		},
		func(f Followed) error { return s.PutSnapshot(Following(ctx, f), record.Snapshot{Ord: 5}) },
		func(f Followed) error {
			return s.PutHistory(Following(ctx, f), record.Stretch{Place: "p", Series: "s", Tier: record.Second, Points: []record.Point{{}}})
		},
		func(f Followed) error { return s.Follow(ctx, f) },
	}
	for range 2 {
		for _, call := range calls {
			at.Applied++
			at.Next = at.Applied - at.Applied%2 // it may lag: parts of a later call came before
			if err := call(at); err != nil {
				t.Fatal(err)
			}
			if f := followed(t, s); f != at {
				t.Errorf("it has come to %+v, want %+v", f, at)
			}
			c := mustOpen(t, copyDir(t, dir)) // as a crash leaves it
			if f := followed(t, c); f != at {
				t.Errorf("after a crash it has come to %+v, want %+v", f, at)
			}
			c.Close()
		}
	}
	further := at
	further.Applied += 100
	for name, err := range map[string]error{
		"an old ordinal":     only(s.Append(Following(ctx, further), journaltest.Act(1))),
		"another version":    only(s.PutDocument(Following(ctx, further), record.Document{Name: "x", Version: 7, Body: []byte("b")})),
		"a snapshot too far": s.PutSnapshot(Following(ctx, further), record.Snapshot{Ord: 1 << 40}),
	} {
		if err == nil {
			t.Errorf("%s: it was kept", name)
		}
	}
	if f := followed(t, s); f != at {
		t.Errorf("what was refused moved it to %+v, want %+v", f, at)
	}
}

func only[T any](_ T, err error) error { return err }

// A store that follows a log is written to by nobody else: that would be in the copy of
// one machine and in no other. So it is after the next start, and readings go by the same
// rule.
func TestNobodyWritesPastTheLog(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	ctx := t.Context()
	if _, err := s.Append(ctx, journaltest.Mark("before it followed")); err != nil {
		t.Fatal(err)
	}
	if err := s.Follow(ctx, Followed{Log: "log-1", Term: 1, Writer: "ward-a", Applied: 1, Next: 2}); err != nil {
		t.Fatal(err)
	}
	for _, when := range []string{"at once", "after the next start"} {
		for name, err := range map[string]error{
			"an entry":    only(s.Append(ctx, journaltest.Mark("past it"))),
			"nothing":     only(s.Append(ctx)),
			"a document":  only(s.PutDocument(ctx, record.Document{Name: "x", Body: []byte("b")})),
			"a snapshot":  s.PutSnapshot(ctx, record.Snapshot{}),
			"history":     s.PutHistory(ctx, record.Stretch{Place: "p", Series: "s", Tier: record.Second, Points: []record.Point{{}}}),
			"readings":    s.AppendReadings(ctx, []record.Block{journaltest.Block("hub/a", 1, 1, 1, journaltest.Noon)}, nil),
			"no readings": s.AppendReadings(ctx, nil, nil),
		} {
			if !errors.Is(err, ErrFollows) {
				t.Errorf("%s, %s: %v", when, name, err)
			}
		}
		s.Close()
		s = mustOpen(t, dir)
	}
	f := followed(t, s)
	f.Applied++
	if err := s.AppendReadings(Following(ctx, f), []record.Block{journaltest.Block("hub/a", 1, 1, 1, journaltest.Noon)}, nil); err != nil {
		t.Errorf("readings from the log: %v", err)
	}
	if p, err := s.Append(Following(ctx, f), journaltest.Mark("from the log")); err != nil || p != 2 {
		t.Errorf("an entry from the log is at %d, %v", p, err)
	}
	if got := len(journaltest.Gather(t, s.Entries(ctx, journal.Query{}))); got != 2 {
		t.Errorf("%d entries, want 2", got)
	}
}

// A file that is built anew finds all versions of how far it had come: the last writer is
// that of the latest term, whatever their names are, and nothing is applied twice.
func TestFollowedAfterMending(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	at := Followed{Log: "log-1"}
	for i, writer := range []string{"ward-c", "ward-c", "ward-a", "ward-a", "ward-b", "ward-a"} {
		at.Term, at.Writer, at.Applied, at.Next = uint64(i/2+1), writer, uint64(10*i+10), uint64(10*i+7)
		if i == 5 {
			at.Term++
		}
		if _, err := s.Append(Following(t.Context(), at), journaltest.Mark(writer)); err != nil {
			t.Fatal(err)
		}
	}
	for n := range mostMends {
		if err := s.mendMain(errCorrupt, n); err != nil {
			t.Fatal(err)
		}
		if f := followed(t, s); f != at {
			t.Errorf("built anew %d times, it has come to %+v, want %+v", n+1, f, at)
		}
	}
	if _, err := s.Append(t.Context(), journaltest.Mark("past it")); !errors.Is(err, ErrFollows) {
		t.Errorf("it follows nothing any more: %v", err)
	}
	s.Close()
	if _, err := s.Followed(t.Context()); !errors.Is(err, journal.ErrClosed) {
		t.Errorf("of a closed record: %v", err)
	}
}
