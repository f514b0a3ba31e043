package sqlite

import (
	"database/sql"
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// many makes n entries of three kinds at two places, of which every other one is an
// input.
func many(n int) (all []record.Entry) {
	for i := range n {
		e := journaltest.Mark(fmt.Sprint(i))
		switch i % 3 {
		case 1:
			e = journaltest.Act(0)
		case 2:
			e.Body = record.Fault{Subject: "bridge", Text: fmt.Sprint(i)}
		}
		if i%2 == 0 {
			e.Ord = uint64(i + 1)
		}
		if i%5 == 0 {
			e.Place = "bed-9"
		}
		e.At = journaltest.Noon + sample.Instant(i)*1e6
		all = append(all, e)
	}
	return all
}

// Entries are fetched some at a time. Whatever of them is asked for, from either end, and
// however many there are of it, all come, once and in order: at no edge between two
// fetches is one lost or doubled.
func TestEntriesAtTheEdgesOfPages(t *testing.T) {
	for _, n := range []int{1, page, page + 1, 2 * page} {
		s := mustOpen(t, t.TempDir())
		model := &journaltest.Memory{}
		for _, j := range []journal.Journal{s, model} {
			if _, err := j.Append(t.Context(), many(n)...); err != nil {
				t.Fatal(err)
			}
		}
		for _, q := range []journal.Query{{}, {From: 2}, {Last: page}, {From: 1, Last: page}, {From: page, Last: page + 1}, {Place: "bed-9"},
			{Kinds: []record.Kind{record.KindMark}}, {Kinds: []record.Kind{record.KindMark, record.KindAction, record.KindFault}},
			{Since: journaltest.Noon + 1e6}, {Until: journaltest.Noon + page*1e6}} {
			for _, q.Newest = range []bool{false, true} {
				got, want := positions(t, s, q), positions(t, model, q)
				if !slices.Equal(got, want) {
					t.Errorf("of %d entries, %+v: %v, want %v", n, q, got, want)
				}
			}
		}
		if got := journaltest.Gather(t, s.Inputs(t.Context(), 0, math.MaxUint64)); len(got) != (n+1)/2 {
			t.Errorf("of %d entries, %d are inputs, want %d", n, len(got), (n+1)/2)
		}
		next := record.Position(1)
		for b, err := range s.Bodies(t.Context()) {
			if e, bad := record.DecodeEntry(b.Bytes); err != nil || bad != nil || b.Position != next || e.Position != next {
				t.Fatalf("body %d at %d, %v, %v; want %d", e.Position, b.Position, err, bad, next)
			}
			next++
		}
		if int(next)-1 != n {
			t.Errorf("of %d entries there are %d bodies", n, next-1)
		}
		journaltest.Sound(t, s) // which goes through all of them by pages too
		s.Close()
	}
}

func positions(t *testing.T, j journal.Log, q journal.Query) (all []record.Position) {
	t.Helper()
	for _, e := range journaltest.Gather(t, j.Entries(t.Context(), q)) {
		all = append(all, e.Position)
	}
	return all
}

// Entries that are missing just before, on and just after the edge of a fetch are told,
// each once, from either end; and a reader that leaves there leaves nothing behind.
func TestHolesAtTheEdgesOfPages(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	const n = 2*page + 20
	if _, err := s.Append(t.Context(), many(n)...); err != nil {
		t.Fatal(err)
	}
	for _, hole := range []span{{page, page}, {page + 1, page + 1}, {page - 1, page + 2}, {2, page + 1}, {page + 5, n}, {1, page}} {
		err := s.write(t.Context(), &request{do: func(tx *sql.Tx) error {
			_, err := tx.Exec("CREATE TEMP TABLE gone AS SELECT * FROM entries WHERE position BETWEEN ? AND ?", hole.first, hole.last)
			if err == nil {
				_, err = tx.Exec("DELETE FROM entries WHERE position BETWEEN ? AND ?", hole.first, hole.last)
			}
			return err
		}})
		if err != nil {
			t.Fatal(err)
		}
		for _, newest := range []bool{false, true} {
			left, lost := journaltest.Losses(t, s.Entries(t.Context(), journal.Query{Newest: newest}))
			if len(left) != int(n-(hole.last-hole.first+1)) || len(lost) != 1 || lost[0].First != hole.first || lost[0].Last != hole.last {
				t.Errorf("without %v, newest first %v: %d are left, and told %v", hole, newest, len(left), lost)
			}
			// Where only some are asked for, nobody can tell what the missing ones were.
			if _, lost := journaltest.Losses(t, s.Entries(t.Context(), journal.Query{Newest: newest, Place: "bed-9"})); len(lost) > 0 {
				t.Errorf("without %v, of one place: told %v", hole, lost)
			}
		}
		lost, rest := lostByCheck(t, s)
		if want := (tally{journal.Entries: spans{hole}}); fmt.Sprint(lost) != fmt.Sprint(want) || len(rest) > 0 {
			t.Errorf("without %v the check says %v, and %v", hole, lost, rest)
		}
		for range s.Entries(t.Context(), journal.Query{From: page - 3}) {
			break
		}
		err = s.write(t.Context(), &request{do: func(tx *sql.Tx) error {
			_, err := tx.Exec("INSERT INTO entries SELECT * FROM gone; DROP TABLE gone")
			return err
		}})
		if err != nil {
			t.Fatal(err)
		}
	}
	journaltest.Sound(t, s)
}

// Documents are fetched some at a time too, by name. Those taken away count for a fetch
// and are not yielded; names that begin alike, and with more than one byte, come in order.
func TestDocumentsAtTheEdgesOfPages(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	model := &journaltest.Memory{}
	var names []string
	for i := range page + 2 {
		names = append(names, fmt.Sprintf("a/%04d", i))
	}
	names = append(names, "a", "a/", "a0", "b", "å/1", "å/2", "a/\U0010ffff", "a/\U0010ffff\U0010ffff", "_/1", "%/1")
	err := s.write(t.Context(), &request{do: func(tx *sql.Tx) error { // all in one sync
		for i, name := range names {
			for version := range uint64(2) {
				d := record.Document{Name: name, Version: version + 1, Written: journaltest.Noon, Body: fmt.Append(nil, i, version)}
				if version == 1 && i%7 == 3 {
					d.Body = nil
				}
				body, err := d.Append(nil)
				if err == nil {
					err = insertDocument(tx, &d, body)
				}
				if err != nil {
					return err
				}
				d.Version--
				if _, err := model.PutDocument(t.Context(), d); err != nil {
					return err
				}
			}
		}
		return nil
	}})
	if err != nil {
		t.Fatal(err)
	}
	for _, prefix := range []string{"", "a", "a/", "a/0", "a/025", "b", "å", "å/", "_", "%", "c", "a/\U0010ffff"} {
		var got, want []string
		for _, d := range journaltest.Gather(t, s.Documents(t.Context(), prefix)) {
			got = append(got, d.Name+" "+string(d.Body))
		}
		for _, d := range journaltest.Gather(t, model.Documents(t.Context(), prefix)) {
			want = append(want, d.Name+" "+string(d.Body))
		}
		if !slices.Equal(got, want) {
			t.Errorf("of those that begin with %q: %s", prefix, cmp.Diff(want, got))
		}
	}
}

// Blocks are fetched some at a time, of each file. Whichever run of them is asked for, by
// ordinals or by time, it comes whole, whether its edges are those of a fetch or not.
func TestBlocksAtTheEdgesOfFetches(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	const n = 2*blocksAtOnce + 3
	var blocks []record.Block
	for i := range n {
		for k, source := range []string{"hub/a", "hub/b"} {
			blocks = append(blocks, journaltest.Block(source, uint64(1+20*i+10*k), 1, 10, journaltest.Noon+sample.Instant(i)*1e9))
		}
	}
	if err := s.AppendReadings(t.Context(), blocks, nil); err != nil {
		t.Fatal(err)
	}
	for _, r := range []span{{0, n}, {0, blocksAtOnce}, {0, blocksAtOnce + 1}, {blocksAtOnce - 1, blocksAtOnce + 1}, {1, blocksAtOnce + 1},
		{blocksAtOnce, 2 * blocksAtOnce}, {n - 1, n}, {0, 1}, {n, n + 1}} {
		from, to := journaltest.Noon+sample.Instant(r.first)*1e9, journaltest.Noon+sample.Instant(r.last)*1e9
		var numbers spans
		for _, b := range journaltest.Gather(t, s.Readings(t.Context(), "hub/b", from, to)) {
			numbers.add(b.Number)
			if !b.Equal(&blocks[2*b.Number-1]) {
				t.Fatalf("block %d is not as it was written", b.Number)
			}
		}
		want := spans{{r.first + 1, min(r.last, n)}}
		if r.first >= n {
			want = nil
		}
		if !slices.Equal(numbers, want) {
			t.Errorf("seconds %v: blocks %v, want %v", r, numbers, want)
		}
		var ords spans
		for _, in := range journaltest.Gather(t, s.Inputs(t.Context(), 20*r.first+1, 20*r.last)) {
			ords.add(in.Ord)
		}
		if want = (spans{{20*r.first + 1, 20 * min(r.last, n)}}); r.first >= n {
			want = nil
		}
		if !slices.Equal(ords, want) {
			t.Errorf("seconds %v: ordinals %v, want %v", r, ords, want)
		}
	}
}
