package journaltest

import (
	"cmp"
	"errors"
	"fmt"
	"iter"
	"slices"
	"testing"
	"time"

	diff "github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/record"
)

// testLikeMemory makes the same random calls to a record and to a Memory: every
// answer is the same, whatever the order of calls, and after every reopening.
func testLikeMemory(t *testing.T, maker Maker) {
	rapid.Check(t, func(rt *rapid.T) {
		open := maker(t)
		p := &pair{TB: t, open: open, store: open(), model: &Memory{}, ord: 1, grown: map[string]record.Block{}}
		defer func() { p.store.Close() }()
		rt.Repeat(map[string]func(*rapid.T){
			"entries":   p.entries,
			"readings":  p.readings,
			"documents": p.documents,
			"snapshots": p.snapshots,
			"history":   p.history,
			"reopen":    p.reopen,
			"compare":   p.compare,
		})
		p.compare(rt)
		for f, err := range p.store.Check(t.Context()) {
			rt.Fatalf("the record is not in order: %v, %v", f, err)
		}
	})
}

// A pair is a record and what it should be like.
type pair struct {
	testing.TB
	open  func() journal.Journal
	store journal.Journal
	model *Memory

	ord    uint64
	calls  []call                  // that were made
	grown  map[string]record.Block // the last block of each source, which may go on
	ticked []record.Tick           // the last ticks, which may go on
}

type call struct {
	blocks []record.Block
	ticks  []record.Tick
}

// agree compares two errors: both none, or both of one meaning.
func agree(t *rapid.T, what string, got, want error) {
	for _, e := range []error{nil, record.ErrInvalid, journal.ErrOrder, journal.ErrConflict, journal.ErrNotFound} {
		if errors.Is(got, e) != errors.Is(want, e) {
			t.Fatalf("%s: error %v, want %v", what, got, want)
		}
	}
}

func (p *pair) next(t *rapid.T) uint64 {
	p.ord += rapid.Uint64Range(1, 5).Draw(t, "skip")
	return p.ord
}

func (p *pair) entries(t *rapid.T) {
	var some []record.Entry
	for range rapid.IntRange(1, 4).Draw(t, "entries") {
		e := every()[rapid.IntRange(0, 5).Draw(t, "kind")]
		e.At += sample.Instant(rapid.Int64Range(-1e13, 1e13).Draw(t, "at"))
		switch rapid.IntRange(0, 9).Draw(t, "input") {
		case 0, 1, 2:
			e.Ord = p.next(t)
		case 3:
			e.Ord = rapid.Uint64Range(1, p.ord).Draw(t, "old") // often refused
		}
		some = append(some, e)
	}
	got, err := p.store.Append(p.Context(), some...)
	want, wantErr := p.model.Append(p.Context(), some...)
	agree(t, "Append", err, wantErr)
	if got != want {
		t.Fatalf("Append at %d, want %d", got, want)
	}
}

func (p *pair) readings(t *rapid.T) {
	var c call
	if n := len(p.calls); n > 0 && rapid.IntRange(0, 4).Draw(t, "again") == 0 {
		c = p.calls[rapid.IntRange(0, n-1).Draw(t, "which")]
	} else {
		at := Noon.Add(time.Duration(rapid.Int64Range(-72, 72).Draw(t, "hours")) * time.Hour)
		for _, source := range []string{"hub/a", "hub/b", "trolley/leg"} {
			if rapid.Bool().Draw(t, "sends") {
				n := rapid.IntRange(1, 6).Draw(t, "scans")
				b := Block(source, p.next(t), 3, n, at)
				p.ord += uint64(3 * n)
				if was, ok := p.grown[source]; ok && rapid.Bool().Draw(t, "goes on") {
					if rapid.Bool().Draw(t, "soon") {
						b = Block(source, b.Scans[0].Ord, 3, n, was.Scans[0].At+sample.Instant(len(was.Scans))*1e8)
					}
					b.Scans = slices.Concat(was.Scans, b.Scans)
				}
				p.grown[source] = b
				c.blocks = append(c.blocks, b)
			}
		}
		if rapid.IntRange(0, 2).Draw(t, "ticks") == 0 {
			c.ticks = []record.Tick{{Ord: p.next(t), At: at}, {Ord: p.next(t), Place: "bed-4", At: at + 1}}
			if rapid.Bool().Draw(t, "more of them") {
				c.ticks = slices.Concat(p.ticked, c.ticks)
			}
			p.ticked = c.ticks
		}
		if len(c.blocks) > 0 && rapid.IntRange(0, 9).Draw(t, "old") == 0 && len(p.calls) > 0 {
			if old := p.calls[0].blocks; len(old) > 0 {
				c.blocks = append(c.blocks, Block(old[0].Source, old[0].Scans[0].Ord, 1, 1, at))
			}
		}
		p.calls = append(p.calls, c)
	}
	mine, theirs := slices.Clone(c.blocks), slices.Clone(c.blocks)
	agree(t, "AppendReadings", p.store.AppendReadings(p.Context(), mine, c.ticks), p.model.AppendReadings(p.Context(), theirs, c.ticks))
	for i := range mine {
		if mine[i].Number != theirs[i].Number {
			t.Fatalf("block of %s has number %d, want %d", mine[i].Source, mine[i].Number, theirs[i].Number)
		}
	}
}

func (p *pair) documents(t *rapid.T) {
	d := record.Document{Name: rapid.SampledFrom([]string{"a", "a/b", "a/c", "b"}).Draw(t, "name"),
		Version: rapid.Uint64Range(0, 4).Draw(t, "version"), Written: Noon, Body: rapid.SliceOfN(rapid.Byte(), 0, 8).Draw(t, "body")}
	if rapid.IntRange(0, 4).Draw(t, "gone") == 0 {
		d.Body = nil
	}
	got, err := p.store.PutDocument(p.Context(), d)
	want, wantErr := p.model.PutDocument(p.Context(), d)
	agree(t, "PutDocument", err, wantErr)
	if got != want {
		t.Fatalf("version %d, want %d", got, want)
	}
}

func (p *pair) snapshots(t *rapid.T) {
	s := record.Snapshot{Ord: rapid.Uint64Range(0, p.ord+1).Draw(t, "ord"), At: Noon, Body: []byte(fmt.Sprint(p.ord))}
	agree(t, "PutSnapshot", p.store.PutSnapshot(p.Context(), s), p.model.PutSnapshot(p.Context(), s))
}

func (p *pair) history(t *rapid.T) {
	s := record.Stretch{Place: rapid.SampledFrom([]string{"bed-4", "bench-1"}).Draw(t, "place"), Series: "peak", Tier: rapid.SampledFrom(record.Tiers()).Draw(t, "tier")}
	step := sample.Instant(s.Tier.Step())
	at := Noon/step*step + step*sample.Instant(rapid.Int64Range(-3000, 3000).Draw(t, "from"))
	for i := range rapid.IntRange(1, 90).Draw(t, "points") {
		s.Points = append(s.Points, record.Point{At: at, Min: float32(i), Mean: float32(p.ord), Max: rapid.Float32Range(-9, 9).Draw(t, "max")})
		at += step * sample.Instant(rapid.Int64Range(1, 9).Draw(t, "step"))
	}
	agree(t, "PutHistory", p.store.PutHistory(p.Context(), s), p.model.PutHistory(p.Context(), s))
}

func (p *pair) reopen(t *rapid.T) {
	if err := p.store.Close(); err != nil {
		t.Fatal(err)
	}
	p.store = p.open()
}

func (p *pair) compare(t *rapid.T) {
	ctx := p.Context()
	got, err := p.store.Head(ctx)
	want, _ := p.model.Head(ctx)
	if err != nil || got != want {
		t.Fatalf("head %+v, %v, want %+v", got, err, want)
	}
	q := journal.Query{From: record.Position(rapid.IntRange(0, 9).Draw(t, "from")), Newest: rapid.Bool().Draw(t, "newest"),
		Place: rapid.SampledFrom([]string{"", "bench-1"}).Draw(t, "place"), Since: Noon * sample.Instant(rapid.IntRange(0, 1).Draw(t, "since"))}
	if rapid.Bool().Draw(t, "kinds") {
		q.Kinds = []record.Kind{record.KindAction, record.KindMark}
	}
	alike(t, fmt.Sprintf("entries %+v", q), p.store.Entries(ctx, q), p.model.Entries(ctx, q))
	first := rapid.Uint64Range(0, p.ord).Draw(t, "first")
	last := first + rapid.Uint64Range(0, p.ord).Draw(t, "count")
	alike(t, "inputs", sorted(p.store.Inputs(ctx, first, last)), sorted(p.model.Inputs(ctx, first, last)))
	from := Noon.Add(time.Duration(rapid.Int64Range(-80, 80).Draw(t, "hours")) * time.Hour)
	to := from.Add(time.Duration(rapid.Int64Range(0, 60).Draw(t, "long")) * time.Hour)
	alike(t, "readings", p.store.Readings(ctx, "hub/a", from, to), p.model.Readings(ctx, "hub/a", from, to))
	a, b, err := p.store.Span(ctx, from, to)
	c, d, wantErr := p.model.Span(ctx, from, to)
	agree(t, "Span", err, wantErr)
	if err == nil && (a != c || b != d) {
		t.Fatalf("from %v to %v are ordinals %d to %d, want %d to %d", from, to, a, b, c, d)
	}
	alike(t, "documents", p.store.Documents(ctx, "a/"), p.model.Documents(ctx, "a/"))
	s, err := p.store.Snapshot(ctx, 1<<62)
	o, wantErr := p.model.Snapshot(ctx, 1<<62)
	agree(t, "Snapshot", err, wantErr)
	if err == nil && !diff.Equal(s, o) {
		t.Fatalf("snapshot %+v, want %+v", s, o)
	}
	tier := rapid.SampledFrom(record.Tiers()).Draw(t, "tier")
	h, err := p.store.History(ctx, "bed-4", "peak", tier, from, to, nil)
	k, _ := p.model.History(ctx, "bed-4", "peak", tier, from, to, nil)
	if err != nil || !slices.Equal(h, k) {
		t.Fatalf("history: %v\n%s", err, diff.Diff(k, h))
	}
}

// sorted puts inputs that have one ordinal, as an entry and a scan may in these
// tests, into one order.
func sorted(seq iter.Seq2[record.Input, error]) iter.Seq2[record.Input, error] {
	var some []record.Input
	for in, err := range seq {
		if err != nil {
			return failed[record.Input](err)
		}
		in.Spent = nil // whether a store wants its room back is its own affair
		some = append(some, in)
	}
	slices.SortStableFunc(some, func(a, b record.Input) int {
		return cmp.Or(cmp.Compare(a.Ord, b.Ord), cmp.Compare(a.Source, b.Source))
	})
	return func(yield func(record.Input, error) bool) {
		for _, in := range some {
			if !yield(in, nil) {
				return
			}
		}
	}
}

// alike compares two sequences that should have no errors.
func alike[T any](t *rapid.T, what string, got, want iter.Seq2[T, error]) {
	var a, b []T
	for x, err := range got {
		if err != nil {
			t.Fatalf("%s: %v", what, err)
		}
		a = append(a, x)
	}
	for x, err := range want {
		if err != nil {
			t.Fatal(err)
		}
		b = append(b, x)
	}
	if d := diff.Diff(b, a, same); d != "" {
		t.Fatalf("%s:\n%s", what, d)
	}
}
