package sqlite

import (
	"bufio"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// readSoFar returns how many bytes this process has read by calls of the system, from a
// disk or not. That does not depend on how fast the machine is.
func readSoFar(t testing.TB) int64 {
	t.Helper()
	f, err := os.Open("/proc/self/io")
	if err != nil {
		t.Skipf("nothing counts what is read here: %v", err)
	}
	defer f.Close()
	for lines := bufio.NewScanner(f); lines.Scan(); {
		var n int64
		if _, err := fmt.Sscanf(lines.Text(), "rchar: %d", &n); err == nil {
			return n
		}
	}
	t.Skip("nothing counts what is read here")
	return 0
}

// archiveOf makes a record of some days, each with the same: a hundred seconds of two
// sources, two hundred entries of two places, a document and a stretch of two series.
func archiveOf(t testing.TB, days int) *Store {
	t.Helper()
	dir := t.TempDir()
	s := mustOpen(t, dir)
	ctx := t.Context()
	for d := range days {
		at := journaltest.Noon.Add(time.Duration(d) * oneDay)
		base := uint64(1 + 10_000*d)
		var blocks []record.Block
		var entries []record.Entry
		for i := range 100 {
			now := at + sample.Instant(i)*1e9
			blocks = append(blocks, matBlock("hub/mat", base+30*uint64(i), 40, 10, now), journaltest.Block("trolley/leg", base+30*uint64(i)+10, 1, 10, now))
			a, b := journaltest.Mark(strings.Repeat("word ", 20)), journaltest.Act(base+30*uint64(i)+20)
			a.At, b.At = now, now
			entries = append(entries, a, b)
		}
		if err := s.AppendReadings(ctx, blocks, nil); err != nil {
			t.Fatal(err)
		}
		if _, err := s.Append(ctx, entries...); err != nil {
			t.Fatal(err)
		}
		if _, err := s.PutDocument(ctx, record.Document{Name: fmt.Sprintf("calibration/%03d", d), Body: make([]byte, 6000)}); err != nil {
			t.Fatal(err)
		}
		for _, series := range []string{"peak", "mean"} {
			st := record.Stretch{Place: "bed-4", Series: series, Tier: record.Second}
			for i := range 3600 {
				st.Points = append(st.Points, record.Point{At: at + sample.Instant(i)*1e9, Mean: float32(i*d) / 7})
			}
			if err := s.PutHistory(ctx, st); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := s.PutSnapshot(ctx, record.Snapshot{Ord: 10, Body: make([]byte, 20_000)}); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return mustOpen(t, dir)
}

// What a question costs is what it asks for: the same question to a record of many days
// reads no more than to one of few, but for the way down in deeper trees.
func TestAQuestionCostsWhatItAsks(t *testing.T) {
	few, many := archiveOf(t, 2), archiveOf(t, 12)
	ctx := t.Context()
	from := journaltest.Noon.Add(oneDay)
	to := from.Add(20 * time.Second)
	drain := func(n int, err error) int {
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	for name, ask := range map[string]func(s *Store) int{
		"entries by position": func(s *Store) int {
			return len(journaltest.Gather(t, s.Entries(ctx, journal.Query{From: 210, Last: 240})))
		},
		"the newest of a kind": func(s *Store) int {
			n := 0
			for range s.Entries(ctx, journal.Query{Kinds: []record.Kind{record.KindMark}, Newest: true}) {
				if n++; n == 20 {
					break
				}
			}
			return n
		},
		"of a kind from a position on": func(s *Store) int {
			return len(journaltest.Gather(t, s.Entries(ctx, journal.Query{Kinds: []record.Kind{record.KindMark}, From: 210, Last: 240})))
		},
		"of a place from a position on": func(s *Store) int {
			return len(journaltest.Gather(t, s.Entries(ctx, journal.Query{Place: "bed-4", From: 210, Last: 240})))
		},
		"readings of a source": func(s *Store) int { return len(journaltest.Gather(t, s.Readings(ctx, "trolley/leg", from, to))) },
		"inputs":               func(s *Store) int { return len(journaltest.Gather(t, s.Inputs(ctx, 10_001, 10_300))) },
		"a span of ordinals":   func(s *Store) int { a, b, err := s.Span(ctx, from, to); return drain(int(b-a), err) },
		"history": func(s *Store) int {
			p, err := s.History(ctx, "bed-4", "peak", record.Second, from, to, nil)
			return drain(len(p), err)
		},
		"a document": func(s *Store) int { d, err := s.Document(ctx, "calibration/001", 0); return drain(len(d.Body), err) },
		"a snapshot": func(s *Store) int { n, err := s.Snapshot(ctx, math.MaxUint64); return drain(len(n.Body), err) },
	} {
		cost := func(s *Store) (n int, read int64) {
			before := readSoFar(t)
			n = ask(s)
			return n, readSoFar(t) - before
		}
		n, small := cost(few)
		m, large := cost(many)
		if n == 0 || n != m {
			t.Errorf("%s: %d in few days and %d in many", name, n, m)
		}
		t.Logf("%s: %d bytes of few days, %d of many", name, small, large)
		if large > small+16*pageSize {
			t.Errorf("%s reads %d bytes of few days, and %d of six times as many", name, small, large)
		}
	}
	// A start opens the files that were written to last, and no other.
	cost := func(s *Store) int64 {
		t.Helper()
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		before := readSoFar(t)
		again, err := Open(t.Context(), s.dir, Options{Reserve: testReserve})
		read := readSoFar(t) - before
		if err != nil {
			t.Fatal(err)
		}
		again.Close()
		return read
	}
	small, large := cost(few), cost(many)
	if t.Logf("a start: %d bytes of few days, %d of many", small, large); large > small+16*pageSize {
		t.Errorf("a start reads %d bytes of few days, and %d of six times as many", small, large)
	}
}
