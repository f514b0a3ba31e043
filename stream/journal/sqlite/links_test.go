package sqlite

import (
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"weald/stream/audit"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// link makes an audit entry that covers n entries before it in its call.
func link(what string, n int) record.Entry {
	a := record.Audit{What: what, Who: record.Sealed{Text: "N-4", Salt: []byte("0123456789abcdef")}}
	for range n {
		a.Covers = append(a.Covers, record.Cover{Kind: record.KindMark, Salt: []byte("fedcba9876543210")})
	}
	return record.Entry{At: journaltest.Noon, Written: journaltest.Noon, Body: a}
}

// linked keeps n calls, each a mark with a link that covers it.
func linked(t testing.TB, s *Store, n int) {
	t.Helper()
	for i := range n {
		if _, err := s.Append(t.Context(), journaltest.Mark(fmt.Sprint("act ", i)), link("noted", 1)); err != nil {
			t.Fatal(err)
		}
	}
}

// chain returns the links that can be read, in their order.
func chain(t testing.TB, s *Store) (all []record.Audit) {
	t.Helper()
	entries, _ := journaltest.Losses(t, s.Entries(t.Context(), journal.Query{Kinds: []record.Kind{record.KindAudit}}))
	for _, e := range entries {
		all = append(all, e.Body.(record.Audit))
	}
	return all
}

func sound(t testing.TB, s *Store) audit.Report {
	t.Helper()
	r, err := audit.Verify(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// The chain goes on where it was: when the record was closed and opened, was left by a
// crash, was built anew in use, came out of a backup, and had its acts deleted.
func TestTheChainGoesOn(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	linked(t, s, 2)
	for name, pass := range map[string]func() *Store{
		"closed":  func() *Store { s.Close(); return mustOpen(t, dir) },
		"crashed": func() *Store { dir = copyDir(t, dir); return mustOpen(t, dir) },
		"built anew": func() *Store {
			if err := s.mendMain(errCorrupt, s.main.mends); err != nil {
				t.Fatal(err)
			}
			return s
		},
		"restored": func() *Store {
			to := filepath.Join(t.TempDir(), "backup")
			if _, err := s.Backup(t.Context(), to, nil); err != nil {
				t.Fatal(err)
			}
			dir = filepath.Join(t.TempDir(), "restored")
			if err := Restore(t.Context(), to, dir); err != nil {
				t.Fatal(err)
			}
			return mustOpen(t, dir)
		},
		"shortened": func() *Store {
			p := plan(t, s, journal.Limits{journal.Marks: {Bytes: 1}}, journaltest.Noon)
			del := link("deleted", 0)
			a := del.Body.(record.Audit)
			a.Kinds, a.Through = []record.Kind{record.KindMark}, record.Position(p.Deletions[0].UpTo)
			del.Body = a
			if _, err := s.Append(t.Context(), del); err != nil {
				t.Fatal(err)
			}
			if err := s.Retire(t.Context(), p); err != nil {
				t.Fatal(err)
			}
			return s
		},
	} {
		before := s.head.link()
		s = pass()
		after := s.head.link()
		if name != "shortened" && after != before {
			t.Errorf("%s: the chain ends with %v, and did with %v", name, after, before)
		}
		linked(t, s, 1)
		all := chain(t, s)
		if last := all[len(all)-1]; last.Number != after.Number+1 || last.Prev != after.Hash || s.head.link() != (record.Link{Number: last.Number, Hash: last.Hash}) {
			t.Errorf("%s: link %d follows %v, want it to follow %d", name, last.Number, last.Prev, after.Number)
		}
		if r := sound(t, s); len(r.Findings) > 0 {
			t.Errorf("%s: %q", name, r.Findings)
		}
	}
}

// What is refused leaves the chain as it was, also where it had made a link in the same
// call, or shared its transaction with others: numbers stay without holes.
func TestRefusedLinksLeaveNone(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	linked(t, s, 1)
	before := s.head.link()
	for name, call := range map[string][]record.Entry{
		"covers more than there is": {journaltest.Mark("x"), link("noted", 2)},
		"an order after a link":     {journaltest.Act(50), link("noted", 0), journaltest.Act(40)},
		"a link with an ordinal":    {func() record.Entry { e := link("noted", 0); e.Ord = 99; return e }()},
		"a link that says nothing":  {link("", 0)},
	} {
		if _, err := s.Append(t.Context(), call...); err == nil {
			t.Errorf("%s: kept", name)
		}
	}
	if got := s.head.link(); got != before {
		t.Errorf("the chain ends with %v, and did with %v", got, before)
	}
	linked(t, s, 2)
	for i, a := range chain(t, s) {
		if a.Number != uint64(i+1) {
			t.Errorf("link %d is the %dth", a.Number, i+1)
		}
	}
	if r := sound(t, s); len(r.Findings) > 0 {
		t.Errorf("%q", r.Findings)
	}
	if h, err := s.Head(t.Context()); err != nil || h.Position != 6 {
		t.Errorf("head %+v, %v", h, err)
	}
}

// Whatever is done to the rows of the chain and of what it covers, whoever verifies it is
// told; and the record can still be opened and goes on, behind the last link that can be
// read.
func TestTamperedLinksAreTold(t *testing.T) {
	image := t.TempDir()
	s := mustOpen(t, image)
	linked(t, s, 6) // links at even positions, what they cover before each
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	const swap = `UPDATE entries SET body = CASE position WHEN %[1]d THEN (SELECT body FROM entries WHERE position = %[2]d)
		ELSE (SELECT body FROM entries WHERE position = %[1]d) END WHERE position IN (%[1]d, %[2]d)`
	for name, c := range map[string]struct {
		statement string
		follows   uint64 // the number of the link that the next one follows
	}{
		"an act is removed":            {"DELETE FROM entries WHERE position = 3", 6},
		"an act of another":            {"UPDATE entries SET body = (SELECT body FROM entries WHERE position = 5) WHERE position = 3", 6},
		"two acts are swapped":         {fmt.Sprintf(swap, 3, 5), 6},
		"a link in the middle removed": {"DELETE FROM entries WHERE position = 6", 6},
		"two links are swapped":        {fmt.Sprintf(swap, 4, 8), 6},
		"a damaged link in the middle": {"UPDATE entries SET body = zeroblob(length(body)) WHERE position = 6", 6},
		"the last link is damaged":     {"UPDATE entries SET body = zeroblob(length(body)) WHERE position = 12", 5},
		"the last two are damaged":     {"UPDATE entries SET body = zeroblob(length(body)) WHERE position IN (10, 12)", 4},
		"all are damaged":              {"UPDATE entries SET body = zeroblob(length(body)) WHERE kind = 'audit'", 0},
		"a column says what it is not": {"UPDATE entries SET kind = 'audit' WHERE position = 11; DELETE FROM entries WHERE position = 12", 5},
	} {
		s := holey(t, image, map[int][]string{-1: {c.statement}})
		if r := sound(t, s); len(r.Findings) == 0 {
			t.Errorf("%s: nothing is found", name)
		}
		if got := s.head.link().Number; got != c.follows {
			t.Errorf("%s: the next link follows %d, want %d", name, got, c.follows)
		}
		if p, err := s.Append(t.Context(), journaltest.Mark("on"), link("noted", 1)); err != nil || p != 14 {
			t.Errorf("%s: it does not go on: %d, %v", name, p, err)
		}
		s.Close()
	}
}

// Bodies are as they lie: also those that nobody can read, and the notes in the place of
// what was deleted. Where nothing lies there is a hole. It can be left at any of them.
func TestBodiesAsTheyLie(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	linked(t, s, 3)
	for _, q := range []string{"UPDATE entries SET body = x'00ff' WHERE position = 1", "DELETE FROM entries WHERE position = 2"} {
		if _, err := s.main.w.Exec(q); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.Retire(t.Context(), journal.Plan{Deletions: []journal.Deletion{{Class: journal.Marks, UpTo: 3}}}); err != nil {
		t.Fatal(err)
	}
	var got []string
	for b, err := range s.Bodies(t.Context()) {
		if err != nil {
			t.Fatal(err)
		}
		form, err := record.FormOf(b.Bytes)
		got = append(got, fmt.Sprintf("%d%c%v", b.Position, max(form, '?'), errors.Is(err, record.ErrDamaged)))
	}
	// The first was a mark too, by what its column says.
	if want := []string{"1Rfalse", "3Rfalse", "4Efalse", "5Efalse", "6Efalse"}; !slices.Equal(got, want) {
		t.Errorf("%s, want %s", strings.Join(got, " "), strings.Join(want, " "))
	}
	n := 0
	for range s.Bodies(t.Context()) {
		if n++; n == 2 {
			break
		}
	}
	s.Close()
	for _, err := range s.Bodies(t.Context()) {
		if !errors.Is(err, journal.ErrClosed) {
			t.Errorf("of a closed record: %v", err)
		}
	}
}
