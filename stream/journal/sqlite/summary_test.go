package sqlite

import (
	"database/sql"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// drawRows draws blocks of one file with ascending ordinals, some of which grow.
func drawRows(t *rapid.T) (rows []blockRow) {
	ord := rapid.Uint64Range(0, 50).Draw(t, "first")
	for range rapid.IntRange(0, 8).Draw(t, "blocks") {
		ord += rapid.Uint64Range(1, 9).Draw(t, "skip")
		at := sample.Instant(rapid.Int64Range(-50, 50).Draw(t, "at"))
		rows = append(rows, blockRow{body: []byte{0}, firstOrd: ord, lastOrd: ord + rapid.Uint64Range(0, 20).Draw(t, "long"),
			firstAt: at, lastAt: at + sample.Instant(rapid.Int64Range(0, 9).Draw(t, "lasts"))})
	}
	return rows
}

// A summary never says that a file has nothing of interest when it has, and says it of
// ordinals and instants before all and behind all. It is the same whether it was added up
// call by call, with blocks that grew, or is counted anew when the file is mended.
func TestSummaryAgainstItsBlocks(t *testing.T) {
	checks(t, "60")
	path := filepath.Join(t.TempDir(), dayFile(0))
	db, err := establish(t.Context(), path, &dayKind)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	rapid.Check(t, func(rt *rapid.T) {
		rows := drawRows(rt)
		var m summary
		for i := range rows {
			if short := rows[i]; rapid.Bool().Draw(rt, "grows") {
				short.lastOrd, short.lastAt = short.firstOrd, short.firstAt
				m.add(&short, true)
				m.add(&rows[i], false)
			} else {
				m.add(&rows[i], true)
			}
		}
		ord := rapid.Custom(func(t *rapid.T) span {
			a := rapid.Uint64Range(0, 120).Draw(t, "a")
			return span{a, a + rapid.Uint64Range(0, 9).Draw(t, "b")}
		}).Draw(rt, "asked")
		from := sample.Instant(rapid.Int64Range(-70, 70).Draw(rt, "from"))
		to := from + sample.Instant(rapid.Int64Range(1, 9).Draw(rt, "to"))
		for _, r := range rows {
			if r.firstOrd <= ord.last && r.lastOrd >= ord.first && !m.meets(ord.first, ord.last) {
				rt.Fatalf("%+v does not meet %v, and has a block %d to %d", m, ord, r.firstOrd, r.lastOrd)
			}
			if r.firstAt < to && r.lastAt >= from && !m.lies(from, to) {
				rt.Fatalf("%+v does not lie in %d to %d, and has a block of %d to %d", m, from, to, r.firstAt, r.lastAt)
			}
			if r.lastOrd-r.firstOrd > m.widest {
				rt.Fatalf("a block %d to %d is wider than %d", r.firstOrd, r.lastOrd, m.widest)
			}
		}
		if len(rows) == 0 && (m.meets(0, math.MaxUint64) || m.lies(sample.Past, sample.Never)) {
			rt.Fatal("a file without blocks has something of interest")
		}
		if len(rows) > 0 && (m.meets(m.lastOrd+1, math.MaxUint64) || m.firstOrd > 0 && m.meets(0, m.firstOrd-1) || m.lies(m.lastAt+1, sample.Never) || m.lies(sample.Past, m.firstAt)) {
			rt.Fatalf("%+v has something before or behind all of it", m)
		}

		tx, err := db.Begin()
		if err != nil {
			rt.Fatal(err)
		}
		defer tx.Rollback()
		for i := range rows {
			rows[i].number = uint64(i + 1)
			if err := rows[i].insert(tx, 1, "INSERT"); err != nil {
				rt.Fatal(err)
			}
		}
		sources := []record.SourceProgress{{Source: "hub/a", Number: 7, Ord: 8}}
		if err := saveProgress(tx, ofFile, record.Progress{File: "x", Blocks: 99, Sources: sources}); err != nil {
			rt.Fatal(err)
		}
		if err := summarise(tx); err != nil {
			rt.Fatal(err)
		}
		p, err := noted(tx, ofFile)
		if err != nil || summaryOf(&p) != m || p.File != "x" || !slices.Equal(p.Sources, sources) {
			rt.Fatalf("counted anew %+v, want %+v; %v", p, m, err)
		}
	})
}

// What is found of how far something had come, in any order and over and over, gives the
// furthest of it, and nothing that was in none of them.
func TestProgressGathersTheFurthest(t *testing.T) {
	checks(t, "60")
	db, err := establish(t.Context(), filepath.Join(t.TempDir(), mainName), &mainKind)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	rapid.Check(t, func(rt *rapid.T) {
		tx, err := db.Begin()
		if err != nil {
			rt.Fatal(err)
		}
		defer tx.Rollback()
		number := func(name string) uint64 { return rapid.Uint64Range(0, 9).Draw(rt, name) }
		var want record.Progress
		furthest := map[string]record.SourceProgress{}
		for i := range rapid.IntRange(1, 5).Draw(rt, "found") {
			p := record.Progress{Position: record.Position(number("position")), Ord: number("ord"), File: "f", State: uint8(rapid.IntRange(open, retired).Draw(rt, "state")),
				Blocks: 1 + number("blocks"), FirstOrd: number("first"), LastOrd: number("last"), Widest: number("widest"),
				FirstAt: sample.Instant(number("from")), LastAt: sample.Instant(number("to"))}
			for _, source := range []string{"", "hub/a", "hub/b"} {
				if rapid.Bool().Draw(rt, "has") {
					x := record.SourceProgress{Source: source, Number: number("number"), Ord: number("end")}
					p.Sources = append(p.Sources, x)
					was := furthest[source]
					furthest[source] = record.SourceProgress{Source: source, Number: max(was.Number, x.Number), Ord: max(was.Ord, x.Ord)}
				}
			}
			if i == 0 {
				want = p
			}
			want = record.Progress{Position: max(want.Position, p.Position), Ord: max(want.Ord, p.Ord), File: "f", State: max(want.State, p.State),
				Blocks: max(want.Blocks, p.Blocks), FirstOrd: min(want.FirstOrd, p.FirstOrd), LastOrd: max(want.LastOrd, p.LastOrd), Widest: max(want.Widest, p.Widest),
				FirstAt: min(want.FirstAt, p.FirstAt), LastAt: max(want.LastAt, p.LastAt)}
			if err := keepProgress(tx, "key", p); err != nil {
				rt.Fatal(err)
			}
		}
		got, err := noted(tx, "key")
		if err != nil {
			rt.Fatal(err)
		}
		if len(got.Sources) != len(furthest) {
			rt.Fatalf("sources %+v, want %v", got.Sources, furthest)
		}
		for _, x := range got.Sources {
			if furthest[x.Source] != x {
				rt.Fatalf("source %+v, want %+v", x, furthest[x.Source])
			}
		}
		got.Sources, want.Sources = nil, nil
		if fmt.Sprint(got) != fmt.Sprint(want) {
			rt.Fatalf("%+v, want %+v", got, want)
		}
	})
}

// A file is gone through twice where it is damaged: by its tree, and then for the longest
// of each block that lies about. Those blocks are short whose end was stated and not met,
// each with the last ordinal that is there, whatever the order; a block that is not there
// at all is none of them.
func TestEndsAgainstAReference(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 6).Draw(t, "blocks")
		e := ends{there: map[uint64]uint64{}, ought: map[uint64]uint64{}}
		there, stated := map[uint64]uint64{}, map[uint64]uint64{}
		end := func(i int) uint64 { return uint64(10 * i) }
		var byTree, byPage []blockRow
		for i := 1; i <= n; i++ {
			r := blockRow{number: uint64(i), lastOrd: end(i) - rapid.Uint64Range(0, 3).Draw(t, "short"), after: end(i - 1)}
			switch rapid.IntRange(0, 2).Draw(t, "lies") {
			case 0:
				continue
			case 1:
				byTree = append(byTree, r)
			}
			r.lastOrd = rapid.Uint64Range(r.lastOrd, end(i)).Draw(t, "longest")
			byPage = append(byPage, r)
		}
		for _, r := range slices.Concat(rapid.Permutation(byTree).Draw(t, "by tree"), rapid.Permutation(byPage).Draw(t, "by page")) {
			e.saw(&r)
			there[r.number] = max(there[r.number], r.lastOrd)
			if r.after > 0 {
				stated[r.number-1] = max(stated[r.number-1], r.after)
			}
		}
		e.state(uint64(n), end(n)) // the head of the source
		stated[uint64(n)] = end(n)
		var want []string
		for i := uint64(1); i <= uint64(n); i++ {
			if last, ok := there[i]; ok && last < stated[i] {
				want = append(want, shortened("hub/a", i, last).Error())
			}
		}
		var got []string
		for _, l := range e.short("hub/a") {
			got = append(got, l.Error())
		}
		if !slices.Equal(got, want) {
			t.Fatalf("short are %q, want %q", got, want)
		}
	})
}

// How far sources have come is found in the blocks themselves, as their greatest number
// and its last ordinal, whatever order they lie in; and a source whose name is lost is
// damage, not a source that begins anew.
func TestHeadsAreThoseOfTheBlocks(t *testing.T) {
	db, err := establish(t.Context(), filepath.Join(t.TempDir(), dayFile(0)), &dayKind)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	exec := func(q string, args ...any) {
		t.Helper()
		if _, err := db.Exec(q, args...); err != nil {
			t.Fatal(err)
		}
	}
	if heads, err := readHeads(t.Context(), db); err != nil || len(heads) > 0 {
		t.Errorf("of nothing: %v, %v", heads, err)
	}
	want := map[string]sourceHead{}
	for i, name := range []string{"", "hub/a", "hub/b", "hub/c"} {
		exec("INSERT INTO sources(id, name) VALUES(?,?)", 3*i+1, name)
		for _, number := range []int{5, 2, 9, 1}[:i+1] {
			exec("INSERT INTO blocks(source, number, first_ord, last_ord, first_at, last_at, body) VALUES(?,?,?,?,0,0,x'00')", 3*i+1, number, 100*number+i, 100*number+i+50)
			if h := want[name]; uint64(number) > h.number {
				want[name] = sourceHead{uint64(number), uint64(100*number + i + 50)}
			}
		}
	}
	heads, err := readHeads(t.Context(), db)
	if err != nil || fmt.Sprint(heads) != fmt.Sprint(want) {
		t.Errorf("%v, want %v; %v", heads, want, err)
	}
	if _, _, err := readDay(t.Context(), db); !errors.Is(err, errCorrupt) {
		t.Errorf("blocks without a summary: %v", err)
	}
	exec("DELETE FROM sources WHERE name = 'hub/b'")
	if heads, err := readHeads(t.Context(), db); !errors.Is(err, errCorrupt) {
		t.Errorf("without its name: %v, %v", heads, err)
	}
}

// What is deleted is remembered by number, with the holes that it had where another file
// may have what is missing, and without them where none can.
func TestNotesOfWhatGoes(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	day := func(d int) sample.Instant { return holeyDay(d) }
	put := func(source string, ord uint64, at sample.Instant) {
		t.Helper()
		if err := s.AppendReadings(t.Context(), []record.Block{journaltest.Block(source, ord, 1, 1, at)}, nil); err != nil {
			t.Fatal(err)
		}
	}
	put("hub/a", 1, day(0))
	put("hub/b", 2, day(0))
	put("hub/a", 3, day(1)) // the clock runs ahead
	put("hub/a", 4, day(0)) // and is set back
	put("hub/b", 5, day(0))
	put("hub/a", 6, day(2))
	put("hub/a", 7, day(2))
	put("hub/a", 8, day(2))
	if err := s.write(t.Context(), &request{do: func(*sql.Tx) error { return nil }}); err != nil {
		t.Fatal(err)
	}
	notes := func(d int) (all []string) {
		t.Helper()
		one, known := s.days.get(dayFile(day(d)))
		some, err := s.days.notes(t.Context(), one)
		if err != nil || !known {
			t.Fatal(err)
		}
		for _, n := range some {
			all = append(all, fmt.Sprintf("%s %d-%d to %d", n.Source, n.First, n.Last, n.LastOrd))
		}
		return all
	}
	if got, want := notes(0), []string{"hub/a 1-1 to 4", "hub/a 3-3 to 4", "hub/b 1-2 to 5"}; !slices.Equal(got, want) {
		t.Errorf("where another day has block 2: %q, want %q", got, want)
	}
	if _, err := s.days.w.Exec("DELETE FROM blocks WHERE number = 5"); err != nil {
		t.Fatal(err)
	}
	if got, want := notes(2), []string{"hub/a 4-6 to 8"}; !slices.Equal(got, want) {
		t.Errorf("where no other day can have it: %q, want %q", got, want)
	}
	if got := s.Shortened(t.Context()); got {
		t.Error("something was deleted on purpose, before anything was")
	}
	if err := s.days.retire(t.Context(), journal.Deletion{Class: journal.Readings, File: dayFile(day(0)), UpTo: 5}); err != nil {
		t.Fatal(err)
	}
	if got := s.Shortened(t.Context()); !got {
		t.Error("nothing was deleted on purpose, after something was")
	}
	_, lost := journaltest.Losses(t, s.Inputs(t.Context(), 0, math.MaxUint64))
	if len(lost) != 1 || lost[0].First != 5 || lost[0].Last != 5 {
		t.Errorf("told is %v, want block 5 of hub/a alone", lost)
	}
}
