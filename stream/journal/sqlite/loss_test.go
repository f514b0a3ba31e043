package sqlite

import (
	"bytes"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// holeyDay is when the days of a holey record begin.
func holeyDay(third int) sample.Instant {
	return journaltest.Noon.Add(time.Duration(third) * 24 * time.Hour)
}

// whole makes a record of n seconds of two sources, a day for each third of it,
// and closes it.
func whole(t *testing.T, n int) (dir string) {
	t.Helper()
	dir = t.TempDir()
	s := mustOpen(t, dir)
	for i := range n {
		at := holeyDay(3*i/n) + sample.Instant(i)*1e9
		ord := uint64(1 + 21*i)
		b := []record.Block{journaltest.Block("hub/a", ord, 2, 10, at), journaltest.Block("hub/b", ord+1, 2, 10, at)}
		if err := s.AppendReadings(t.Context(), b, []record.Tick{{Ord: ord + 20, At: at}}); err != nil {
			t.Fatal(err)
		}
		if _, err := s.Append(t.Context(), journaltest.Mark(fmt.Sprint(i))); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return dir
}

// holey does something to the files of a copy of a record, the main one by -1,
// and opens it.
func holey(t *testing.T, image string, statements map[int][]string) *Store {
	t.Helper()
	dir := copyDir(t, image)
	for third, all := range statements {
		path := filepath.Join(dir, mainName)
		if third >= 0 {
			path = filepath.Join(dir, dayFile(holeyDay(third)))
		}
		db, err := connect(path, writing)
		if err != nil {
			t.Fatal(err)
		}
		for _, q := range all {
			if _, err := db.Exec(q); err != nil {
				t.Fatalf("%s: %v", q, err)
			}
		}
		db.Close()
	}
	return mustOpen(t, dir)
}

// block is the number of a block in a statement.
func block(verb, source string, numbers string) string {
	return fmt.Sprintf("%s WHERE source = (SELECT id FROM sources WHERE name = '%s') AND number IN (%s)", verb, source, numbers)
}

// zeroed overwrites the last bytes of a body, so that its checksum is wrong.
const zeroed = "UPDATE blocks SET body = CAST(substr(body, 1, length(body) - 4) || x'00000000' AS BLOB)"

// What is lost is told, each block once and no other, wherever it was and
// whichever inputs are asked for.
func TestLossesAreNamed(t *testing.T) {
	const drop = "DELETE FROM blocks"
	image := whole(t, 30)
	for name, c := range map[string]struct {
		statements  map[int][]string
		first, last uint64
		want        []string
	}{
		"nothing": {nil, 1, math.MaxUint64, nil},
		"one in the middle": {map[int][]string{1: {block(drop, "hub/a", "12")}}, 1, math.MaxUint64,
			[]string{"block 12 of hub/a"}},
		"some": {map[int][]string{0: {block(drop, "hub/a", "3,4,5")}, 2: {block(drop, "hub/b", "25")}}, 1, math.MaxUint64,
			[]string{"blocks 3 to 5 of hub/a", "block 25 of hub/b"}},
		"the first": {map[int][]string{0: {block(drop, "hub/a", "1,2")}}, 1, math.MaxUint64,
			[]string{"blocks 1 to 2 of hub/a"}},
		"the last": {map[int][]string{2: {block(drop, "hub/b", "29,30")}}, 1, math.MaxUint64,
			[]string{"blocks 29 to 30 of hub/b"}},
		"the last ticks": {map[int][]string{2: {block(drop, "", "30")}}, 1, math.MaxUint64,
			[]string{"group of ticks 30"}},
		"damaged": {map[int][]string{1: {block(zeroed, "hub/a", "13")}}, 1, math.MaxUint64,
			[]string{"block 13 of hub/a"}},
		"damaged, and some before": {map[int][]string{1: {block(zeroed, "hub/a", "13"), block(drop, "hub/a", "12")}}, 1, math.MaxUint64,
			[]string{"block 12 of hub/a", "block 13 of hub/a"}},
		"at the end of a day and the beginning of the next": {map[int][]string{0: {block(drop, "hub/a", "10")}, 1: {block(drop, "hub/a", "11")}}, 1, math.MaxUint64,
			[]string{"blocks 10 to 11 of hub/a"}},
		"before what is asked for": {map[int][]string{0: {block(drop, "hub/a", "3")}}, 21*10 + 1, math.MaxUint64, nil},
		"just where it begins": {map[int][]string{1: {block(drop, "hub/a", "15")}}, 21*14 + 1, math.MaxUint64,
			[]string{"block 15 of hub/a"}},
		"all of a source that is asked for": {map[int][]string{2: {block(drop, "hub/a", "30")}}, 21*29 + 1, math.MaxUint64,
			[]string{"block 30 of hub/a"}},
		"after what is asked for": {map[int][]string{2: {block(drop, "hub/a", "28")}}, 1, 21 * 20, nil},
	} {
		t.Run(name, func(t *testing.T) {
			s := holey(t, image, c.statements)
			inputs, lost := journaltest.Losses(t, s.Inputs(t.Context(), c.first, c.last))
			var got []string
			for _, l := range lost {
				got = append(got, l.What())
			}
			slices.Sort(got)
			slices.Sort(c.want)
			if !slices.Equal(got, c.want) {
				t.Errorf("told %q, want %q", got, c.want)
			}
			for i, in := range inputs[1:] {
				if in.Ord <= inputs[i].Ord {
					t.Fatalf("ordinal %d after %d", in.Ord, inputs[i].Ord)
				}
			}
			if c.first > 1 || c.last < math.MaxUint64 {
				return
			}
			if found := found(t, s); !slices.Equal(found, c.want) {
				t.Errorf("the check names %q, want %q", found, c.want)
			}
		})
	}
}

// found is what the check says is lost, in order.
func found(t *testing.T, s *Store) (what []string) {
	t.Helper()
	for f, err := range s.Check(t.Context()) {
		if err != nil {
			t.Fatal(err)
		}
		what = append(what, f.What())
	}
	slices.Sort(what)
	return what
}

// Entries that are gone are told where all are asked for, from either end.
func TestLostEntriesAreNamed(t *testing.T) {
	image := whole(t, 30)
	for name, c := range map[string]struct {
		statement string
		want      []string
		left      int
	}{
		"in the middle": {"DELETE FROM entries WHERE position IN (5, 6, 9)", []string{"entries 5 to 6", "entry 9"}, 27},
		"at the ends":   {"DELETE FROM entries WHERE position IN (1, 30)", []string{"entry 1", "entry 30"}, 28},
		"all":           {"DELETE FROM entries", []string{"entries 1 to 30"}, 0},
		"damaged":       {"UPDATE entries SET body = x'450100000000' WHERE position = 7", []string{"entry 7"}, 29},
		"another's":     {"UPDATE entries SET body = (SELECT body FROM entries WHERE position = 8) WHERE position = 7", []string{"entry 7"}, 29},
	} {
		s := holey(t, image, map[int][]string{-1: {c.statement}})
		for _, newest := range []bool{false, true} {
			entries, lost := journaltest.Losses(t, s.Entries(t.Context(), journal.Query{Newest: newest}))
			var got []string
			for _, l := range lost {
				got = append(got, l.What())
			}
			if newest {
				slices.Reverse(got)
			}
			if !slices.Equal(got, c.want) || len(entries) != c.left {
				t.Errorf("%s, newest first %v: told %q and %d are left, want %q and %d", name, newest, got, len(entries), c.want, c.left)
			}
		}
		if h, err := s.Head(t.Context()); err != nil || h.Position != 30 {
			t.Errorf("%s: head %+v, %v", name, h, err)
		}
		// A position is not given a second time.
		if p, err := s.Append(t.Context(), journaltest.Mark("next")); err != nil || p != 31 {
			t.Errorf("%s: the next entry is at %d, %v", name, p, err)
		}
		if found := found(t, s); !slices.Equal(found, c.want) {
			t.Errorf("%s: the check names %q, want %q", name, found, c.want)
		}
	}
}

// Things without numbers that are damaged are named by the check, and do not
// keep anybody from what is whole.
func TestDamagedThings(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	for n := range 20 {
		if err := second(t.Context(), s, n, secondAt(0)); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.Retire(t.Context(), plan(t, s, journal.Limits{journal.Marks: {Bytes: 300}}, secondAt(0))); err != nil {
		t.Fatal(err)
	}
	for _, q := range []string{
		"UPDATE documents SET body = x'4401' WHERE name = 'calibration/04'",
		"UPDATE snapshots SET body = x'5301' WHERE ord = (SELECT max(ord) FROM snapshots)",
		"UPDATE history SET body = x'4801' WHERE id = 2",
		"UPDATE progress SET body = x'5001' WHERE key = 'entries'",
	} {
		if _, err := s.main.w.Exec(q); err != nil {
			t.Fatal(err)
		}
	}
	tables := map[string]int{}
	for f, err := range s.Check(t.Context()) {
		if err != nil {
			t.Fatal(err)
		}
		if f.Trouble != journal.Unreadable || f.File != mainName {
			t.Errorf("%s in %s", f, f.File)
		}
		tables[f.Source]++
	}
	for _, table := range []string{"documents", "snapshots", "history", "progress"} {
		if tables[table] != 1 {
			t.Errorf("%s: %d findings, want one; all: %v", table, tables[table], tables)
		}
	}
	documents, lost := journaltest.Losses(t, s.Documents(t.Context(), ""))
	if len(documents) != 4 || len(lost) != 1 {
		t.Errorf("%d documents can be read and %v is told", len(documents), lost)
	}
	n, err := s.Snapshot(t.Context(), math.MaxUint64)
	if err != nil || n.Ord != 1+32*12 {
		t.Errorf("the snapshot before the damaged one: %d, %v", n.Ord, err)
	}
	points, err := s.History(t.Context(), "bed-4", "mat.peak", record.Second, sample.Past, sample.Never, nil)
	if len(points) != 1 || err == nil {
		t.Errorf("%d points and error %v, want what is left and a loss", len(points), err)
	}
	// They are written over as the record goes on.
	if _, err := s.Append(t.Context(), journaltest.Mark("on")); err != nil {
		t.Fatal(err)
	}
	s.Close()
	s = mustOpen(t, dir)
	if h, _ := s.Head(t.Context()); h.Position != 41 {
		t.Errorf("head %+v", h)
	}
}

// Only the snapshots that are held are there, and none of them is damaged by
// that the older ones go.
func TestSnapshotsHeld(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	for n := range 3 * snapshotsHeld {
		if err := s.AppendReadings(t.Context(), []record.Block{journaltest.Block("hub/a", uint64(1+10*n), 1, 10, journaltest.Noon)}, nil); err != nil {
			t.Fatal(err)
		}
		if err := s.PutSnapshot(t.Context(), record.Snapshot{Ord: uint64(10 + 10*n), Body: bytes.Repeat([]byte{byte(n)}, 9000)}); err != nil {
			t.Fatal(err)
		}
	}
	held := 0
	for last := uint64(math.MaxInt64); ; held++ {
		n, err := s.Snapshot(t.Context(), last)
		if err != nil {
			break
		}
		last = n.Ord - 1
	}
	if held != snapshotsHeld {
		t.Errorf("%d snapshots are held, want %d", held, snapshotsHeld)
	}
}
