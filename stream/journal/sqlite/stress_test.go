package sqlite

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// Everything is done at the same time: writing, reading, following, checking,
// backing up, building anew, deleting. It holds that
//
//   - every acknowledged entry is there, once, where it was said to be,
//   - inputs come in order, and those since the last deletion without holes,
//   - no reader is told of a loss, and the record is in order at the end.
func TestEverythingAtOnce(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	ctx, stop := context.WithCancel(t.Context())
	var wg sync.WaitGroup
	run := func(name string, f func(i int) error) {
		wg.Go(func() {
			for i := 0; ctx.Err() == nil; i++ {
				if err := f(i); err != nil && ctx.Err() == nil {
					t.Errorf("%s, time %d: %v", name, i, err)
					stop()
				}
			}
		})
	}
	var ord, kept atomic.Uint64 // the last that was kept; the first that was not deleted
	kept.Store(1)
	run("readings", func(i int) error {
		at := journaltest.Noon.Add(time.Duration(i/6)*24*time.Hour) + sample.Instant(i)*1e9
		next := ord.Load() + 1
		blocks := []record.Block{journaltest.Block("hub/a", next, 2, 10, at), journaltest.Block("hub/b", next+1, 2, 10, at)}
		err := s.AppendReadings(ctx, blocks, []record.Tick{{Ord: next + 20, At: at}})
		if err == nil {
			ord.Store(next + 20)
		}
		return err
	})
	var mu sync.Mutex
	acked := map[record.Position]string{}
	for w := range 2 {
		run("entries", func(i int) error {
			text := fmt.Sprintf("%d/%d", w, i)
			p, err := s.Append(ctx, journaltest.Mark(text))
			if err == nil {
				mu.Lock()
				acked[p] = text
				mu.Unlock()
			}
			return err
		})
	}
	run("documents", func(i int) error {
		_, err := s.PutDocument(ctx, record.Document{Name: "d", Version: uint64(i), Body: fmt.Append(nil, i)})
		return err
	})
	run("snapshots", func(int) error {
		h, err := s.Head(ctx)
		if err == nil {
			err = s.PutSnapshot(ctx, record.Snapshot{Ord: h.Ord, Body: fmt.Append(nil, h.Ord)})
		}
		return err
	})
	run("reading", func(int) error {
		first, last := kept.Load(), ord.Load()
		n := first
		for in, err := range s.Inputs(ctx, first, last) {
			switch {
			case err != nil && kept.Load() > first:
				return nil // it was deleted while it was read
			case err != nil:
				return err
			case in.Ord != n && kept.Load() == first:
				return fmt.Errorf("ordinal %d after %d", in.Ord, n-1)
			}
			n = in.Ord + 1
		}
		if n != last+1 && kept.Load() == first {
			return fmt.Errorf("inputs %d to %d end at %d", first, last, n-1)
		}
		return nil
	})
	run("following", func(int) error {
		h, err := s.Head(ctx)
		if err != nil {
			return err
		}
		if err := s.Wait(ctx, h.Position); err != nil {
			return err
		}
		for e, err := range s.Entries(ctx, journal.Query{From: h.Position + 1}) {
			if err != nil {
				return err
			}
			if h.Position++; e.Position != h.Position {
				return fmt.Errorf("entry %d after %d", e.Position, h.Position-1)
			}
		}
		return nil
	})
	run("backing up", func(i int) error {
		_, err := s.Backup(ctx, filepath.Join(dir, fmt.Sprint("backup-", i)), nil)
		return err
	})
	run("deleting", func(int) error {
		now := journaltest.Noon.Add(time.Duration(ord.Load()/21/6) * 24 * time.Hour)
		p, err := s.PlanRetention(ctx, journal.Limits{journal.Readings: {Age: 3 * 24 * time.Hour}}, now)
		if err != nil {
			return err
		}
		for _, d := range p.Deletions {
			kept.Store(max(kept.Load(), uint64(d.UpTo)+1))
		}
		return s.Retire(ctx, p)
	})
	run("building anew", func(i int) error {
		time.Sleep(time.Duration(rand.IntN(100)) * time.Millisecond)
		if i < mostMends {
			return s.mendMain(errCorrupt, i)
		}
		if all := s.days.list(); len(all) > 0 {
			file := all[len(all)-1].file
			if n := s.days.mended(file); n < mostMends {
				return s.days.mendSeen(ctx, file, errCorrupt, n)
			}
		}
		return nil
	})
	time.Sleep(time.Duration(*faults) * 400 * time.Millisecond)
	stop()
	wg.Wait()

	for e, err := range s.Entries(t.Context(), journal.Query{}) {
		if err != nil {
			t.Fatal(err)
		}
		if text, ok := acked[e.Position]; ok && e.Body.(record.Mark).Text != text {
			t.Errorf("entry %d says %+v, want %q", e.Position, e.Body, text)
		}
		delete(acked, e.Position)
	}
	if len(acked) > 0 {
		t.Errorf("%d acknowledged entries are not there", len(acked))
	}
	n := kept.Load()
	for in, err := range s.Inputs(t.Context(), n, math.MaxUint64) {
		if err != nil || in.Ord != n {
			t.Fatalf("input %d, %v; want %d", in.Ord, err, n)
		}
		n++
	}
	if n < ord.Load()+1 {
		t.Errorf("inputs end at %d, %d were kept", n-1, ord.Load())
	}
	journaltest.Sound(t, s)
	t.Logf("%d inputs, the first %d deleted; mended %d times", ord.Load(), kept.Load()-1, len(s.mended()))
}

// simulated fills the main file without a disk that is full: SQLite is told that
// the file may have no more pages than it has.
func simulated(t *testing.T, s *Store, full bool) {
	t.Helper()
	most := int64(1 << 30)
	if full {
		if err := s.main.w.QueryRow("PRAGMA page_count").Scan(&most); err != nil {
			t.Fatal(err)
		}
	}
	var now int64
	if err := s.main.w.QueryRow(fmt.Sprintf("PRAGMA max_page_count=%d", most)).Scan(&now); err != nil {
		t.Fatal(err)
	}
}

// untilRefused appends until that is refused, and returns how often it was not.
func untilRefused(t *testing.T, s *Store) int {
	t.Helper()
	for n := range 1000 {
		if _, err := s.Append(t.Context(), journaltest.Mark(fmt.Sprint(n))); errors.Is(err, journal.ErrFull) {
			return n
		} else if err != nil {
			t.Fatal(err)
		}
	}
	t.Fatal("it is never full")
	return 0
}

// The main file is full: the reserve goes, once; what may not use it is refused;
// readings wait until it is there again.
func TestFullMainFile(t *testing.T) {
	s := begun(t, t.TempDir())
	simulated(t, s, true)
	n := untilRefused(t, s)
	if r := s.Room(); !r.Full || r.Reserve {
		t.Errorf("room %+v", r)
	}
	_, err := s.PutDocument(t.Context(), record.Document{Name: "x", Body: []byte{1}})
	if !errors.Is(err, journal.ErrFull) {
		t.Errorf("a document: %v", err)
	}
	before, err := s.Head(t.Context())
	if err != nil || before.Position != record.Position(2+n) {
		t.Errorf("head %+v, want %d entries, %v", before, 2+n, err)
	}
	simulated(t, s, false)
	if p, err := s.Append(t.Context(), journaltest.Mark("goes on")); err != nil || p != before.Position+1 {
		t.Errorf("an entry when there is room: %d, %v", p, err)
	}
	if _, err := s.PutDocument(t.Context(), record.Document{Name: "x", Body: []byte{1}}); !errors.Is(err, journal.ErrFull) {
		t.Errorf("a document before the reserve is there again: %v", err)
	}
	if err := second(t.Context(), s, 1, secondAt(1)); err != nil {
		t.Errorf("readings when there is room: %v", err)
	}
	if r := s.Room(); r.Full || !r.Reserve {
		t.Errorf("room afterwards: %+v", r)
	}
	journaltest.Sound(t, s)
}

// Of those who share a transaction on a full disk, entries are kept with the
// reserve, and the others are refused, each with its own error.
func TestFullForSomeOfABatch(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	untilRefused := func() {
		simulated(t, s, true)
		untilRefused(t, s)
		simulated(t, s, false)
	}
	untilRefused()
	var wg sync.WaitGroup
	for i := range 20 {
		wg.Go(func() {
			if i%2 == 0 {
				if _, err := s.Append(t.Context(), journaltest.Mark("entry")); err != nil {
					t.Errorf("an entry: %v", err)
				}
				return
			}
			err := s.PutHistory(t.Context(), record.Stretch{Place: "p", Series: "s", Tier: record.Second, Points: []record.Point{{At: 0}}})
			if !errors.Is(err, journal.ErrFull) {
				t.Errorf("history: %v", err)
			}
		})
	}
	wg.Wait()
	journaltest.Sound(t, s)
}
