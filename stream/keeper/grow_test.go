package keeper_test

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"weald/ingest/calib"
	"weald/ingest/recorded"
	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/journal/sqlite"
	"weald/stream/keeper"
	"weald/stream/record"
)

// A desk is a keeper of one source, hub/mat, with its record.
type desk struct {
	*testing.T
	journal.Journal
	keeper *keeper.Keeper
	ord    uint64
}

func newDesk(t *testing.T, j journal.Journal, channels int) *desk {
	t.Helper()
	plan := &rules.Plan{Sources: []rules.Source{{ID: "hub/mat", Channels: channels, StaleAfter: 3 * time.Second, Calibrated: true}}}
	c, err := calib.NewConverter(calib.MMHg, channels, nil)
	if err != nil {
		t.Fatal(err)
	}
	reviver := func() *keeper.Reviver { return keeper.NewReviver(plan, []*calib.Converter{c}) }
	r, err := keeper.Resume(t.Context(), j, plan, reviver(), slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	k := keeper.New(j, plan, r, reviver(), 1, func() sample.Instant { return 0 }, slog.New(slog.DiscardHandler))
	return &desk{t, j, k, r.Ord}
}

// scan gives the keeper a scan that arrives at an instant.
func (b *desk) scan(at sample.Instant, raw ...float64) {
	b.ord++
	b.keeper.Scan(b.ord, &sample.Scan{At: at, Arrived: at, Seq: uint32(b.ord), Rail: calib.NoRail, Values: raw, Raw: raw})
}

// commit keeps events of places that have no state.
func (b *desk) commit(events ...alert.Event) error {
	_, err := b.keeper.Commit(b.ord+1, events, func(string) []byte { return nil })
	return err
}

// flush writes, and holds the record to having all scans so far.
func (b *desk) flush() {
	b.Helper()
	if err := b.keeper.Flush(b.Context()); err != nil {
		b.Fatal(err)
	}
	b.holdsAll()
}

func (b *desk) holdsAll() {
	b.Helper()
	n := uint64(0)
	for _, in := range journaltest.Gather(b, b.Inputs(b.Context(), 1, math.MaxUint64)) {
		if n++; in.Ord != n {
			b.Fatalf("input %d has ordinal %d", n, in.Ord)
		}
	}
	if n != b.ord {
		b.Fatalf("%d of %d scans are kept", n, b.ord)
	}
}

// lengths returns how many scans each block has.
func (b *desk) lengths() (all []int) {
	b.Helper()
	for _, one := range journaltest.Gather(b, b.Readings(b.Context(), "hub/mat", sample.Past, sample.Never)) {
		all = append(all, len(one.Scans))
	}
	return all
}

// At any rate a scan is kept when the second is over, and in the end blocks have
// ten scans, or all of a second.
func TestBlocksGrowToTen(t *testing.T) {
	for _, c := range []struct {
		every time.Duration
		each  int // scans a writing
		want  []int
	}{
		{time.Second, 1, []int{10, 10, 4}},
		{250 * time.Millisecond, 4, []int{12, 12}},
		{100 * time.Millisecond, 10, []int{10, 10, 4}},
		{20 * time.Millisecond, 50, []int{24}},
		{3 * time.Second, 1, []int{4, 4, 4, 4, 4, 4}}, // what comes within ten seconds
		{time.Minute, 1, slices.Repeat([]int{1}, 24)},
	} {
		t.Run(fmt.Sprint(c.each, " every ", c.every), func(t *testing.T) {
			b := newDesk(t, new(journaltest.Memory), 1)
			at := journaltest.Noon
			for i := range 24 {
				b.scan(at, float64(i))
				at = at.Add(c.every)
				if (i+1)%c.each == 0 {
					b.flush()
				}
			}
			b.flush()
			if got := b.lengths(); !slices.Equal(got, c.want) {
				t.Errorf("blocks of %v scans, want %v", got, c.want)
			}
		})
	}
}

// A start, and an event, begin new blocks.
func TestBlocksBeginAnew(t *testing.T) {
	j := new(journaltest.Memory)
	b := newDesk(t, j, 1)
	at := journaltest.Noon
	add := func(n int) {
		for range n {
			b.scan(at, 1)
			at = at.Add(time.Second)
			b.flush()
		}
	}
	add(3)
	b = newDesk(t, j, 1)
	add(4)
	b.scan(at, 2)
	if err := b.commit(alert.Event{At: at, Key: alert.Key{Place: "bed-1", Rule: "r"}, What: alert.Raised, Priority: alert.Low}); err != nil {
		t.Fatal(err)
	}
	b.holdsAll()
	add(5)
	if got := b.lengths(); !slices.Equal(got, []int{3, 4, 6}) {
		t.Errorf("blocks of %v scans", got)
	}
}

// A fickle journal fails as it is told to.
type fickle struct {
	journal.Journal
	before, after error // of the next call, which then is not made, or is
}

func (f *fickle) AppendReadings(ctx context.Context, blocks []record.Block, ticks []record.Tick) error {
	before, after := f.before, f.after
	f.before, f.after = nil, nil
	if before != nil {
		return before
	}
	return errors.Join(f.Journal.AppendReadings(ctx, blocks, ticks), after)
}

// Whatever becomes of a writing, known or not: everything is kept, once.
func TestGrowsThroughFailures(t *testing.T) {
	for name, c := range map[string]struct {
		f    fickle
		hard bool // an event follows
		want []int
	}{
		"not kept":              {fickle{before: journal.ErrFull}, false, []int{8}},
		"kept, and not known":   {fickle{after: errors.New("no answer")}, false, []int{8}},
		"kept, and an event":    {fickle{after: errors.New("no answer")}, true, []int{6, 2}},
		"what grows is damaged": {fickle{before: journal.ErrOrder}, false, []int{4, 4}},
	} {
		t.Run(name, func(t *testing.T) {
			f := &fickle{Journal: new(journaltest.Memory)}
			b := newDesk(t, f, 1)
			at := journaltest.Noon
			add := func() {
				b.scan(at, float64(b.ord))
				at = at.Add(time.Second)
			}
			for range 4 {
				add()
				b.flush()
			}
			add()
			f.before, f.after = c.f.before, c.f.after
			failed := b.keeper.Flush(t.Context()) != nil
			if want := !errors.Is(c.f.before, journal.ErrOrder); failed != want {
				t.Errorf("failed %v, want %v", failed, want)
			}
			if c.hard {
				add()
				if err := b.commit(); err != nil {
					t.Fatal(err)
				}
				b.holdsAll()
				add()
				if err := b.commit(); err != nil {
					t.Fatal(err)
				}
			}
			for b.ord < 8 {
				add()
				b.flush()
			}
			if got := b.lengths(); !slices.Equal(got, c.want) {
				t.Errorf("blocks of %v scans, want %v", got, c.want)
			}
		})
	}
}

// Real recordings of beds (bed-postures, see the README of the data), a scan a
// second, written each second: the record has at most half a byte a cell.
func TestRealBedsAreSmallWhenKept(t *testing.T) {
	files := recorded.Files(t, "bed-postures", "S*", "*.txt")
	const some = 12
	dir := t.TempDir()
	s, err := sqlite.Open(t.Context(), dir, sqlite.Options{Reserve: -1})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	var b *desk
	at, cells := journaltest.Noon, 0
	for i := range some {
		for raw := range recorded.Counts(t, files[i*len(files)/some]) {
			if b == nil {
				b = newDesk(t, s, len(raw))
			}
			b.scan(at, slices.Clone(raw)...)
			at = at.Add(time.Second)
			cells += len(raw)
			if err := b.keeper.Flush(t.Context()); err != nil {
				t.Fatal(err)
			}
		}
	}
	b.holdsAll()
	journaltest.Sound(t, s)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	days, _ := filepath.Glob(filepath.Join(dir, "readings-*.db"))
	if len(days) != 1 {
		t.Fatalf("%d files of readings", len(days))
	}
	info, err := os.Stat(days[0])
	if err != nil {
		t.Fatal(err)
	}
	db, err := sql.Open("sqlite", days[0])
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	var bodies, blocks int
	if err := db.QueryRow("SELECT sum(length(body)), count(*) FROM blocks").Scan(&bodies, &blocks); err != nil {
		t.Fatal(err)
	}
	per := float64(bodies) / float64(cells)
	t.Logf("%.3f bytes a cell over %d cells in %d blocks; the file has %.3f", per, cells, blocks, float64(info.Size())/float64(cells))
	if per > 0.5 {
		t.Errorf("%.3f bytes a cell, more than 0.5", per)
	}
}
