package journaltest

import (
	"math"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/record"
)

// first returns a block of the first n scans of b, as somebody has it who keeps b
// while it fills.
func first(b record.Block, n int) record.Block {
	b.Scans, b.Number, b.After = slices.Clone(b.Scans[:n]), 0, 0
	return b
}

// A block is kept while it fills: it stays one, whoever repeats what, and the
// next one follows it.
func testGrowing(t *testing.T, maker Maker) {
	open := maker(t)
	j := open()
	a := Block("hub/a", 1, 10, 10, Noon)
	b := Block("hub/b", 2, 10, 4, Noon)
	numbers := func(want uint64, blocks ...record.Block) {
		t.Helper()
		for _, b := range put(t, j, nil, blocks...) {
			if b.Number != want {
				t.Fatalf("block of %s with %d scans has number %d, want %d", b.Source, len(b.Scans), b.Number, want)
			}
		}
	}
	for n := 1; n <= 10; n++ {
		numbers(1, first(a, n), first(b, min(n, 4)))
		for k := 1; k <= n; k++ { // what was not known to be kept, and since then has grown
			numbers(1, first(a, k))
		}
		if h, err := j.Head(t.Context()); err != nil || h.Ord != max(a.Scans[n-1].Ord, b.Scans[min(n, 4)-1].Ord) {
			t.Fatalf("head %+v, %v after %d scans", h, err, n)
		}
	}
	next := Block("hub/a", 200, 10, 5, Noon+10e9)
	numbers(2, first(next, 2))
	numbers(1, first(a, 7), a)
	numbers(2, first(next, 4), first(next, 5)) // twice in one call
	twice(t, j, open, func(t *testing.T, j journal.Journal) {
		want := []*record.Block{{}, {}}
		*want[0], *want[1] = a, next
		want[0].Number, want[1].Number, want[1].After = 1, 2, a.Scans[9].Ord
		if diff := cmp.Diff(want, Gather(t, j.Readings(t.Context(), "hub/a", sample.Past, sample.Never)), same); diff != "" {
			t.Errorf("blocks came back changed:\n%s", diff)
		}
		if got := Gather(t, j.Inputs(t.Context(), 0, math.MaxUint64)); len(got) != 10+4+5 {
			t.Errorf("%d inputs, want 19", len(got))
		}
		// From within a block that was short when it came.
		if got := ords(Gather(t, j.Inputs(t.Context(), 85, 91))); !slices.Equal(got, []uint64{91}) {
			t.Errorf("inputs 85 to 91 are %v", got)
		}
		if first, last, err := j.Span(t.Context(), Noon+9e8, Noon+9e8+1); err != nil || first != 1 || last != 91 {
			t.Errorf("the last scan is in %d to %d, %v", first, last, err)
		}
	})
}

// What does not go on as the kept block does is refused, and so is what goes on
// where it no longer can.
func testGrowsInOrder(t *testing.T, maker Maker) {
	j := opened(t, maker)
	a := Block("hub/a", 10, 1, 10, Noon)
	put(t, j, nil, first(a, 4))
	other, config, narrow := first(a, 8), first(a, 8), first(a, 8)
	other.Scans[2].Arrived++
	config.Config++
	for i := range narrow.Scans {
		narrow.Scans[i].Raw = narrow.Scans[i].Raw[:3]
	}
	late := first(a, 8)
	late.Scans = late.Scans[1:]
	for name, b := range map[string]record.Block{
		"another scan": other, "another configuration": config, "other channels": narrow, "one that begins later": late,
	} {
		wantErr(t, name, j.AppendReadings(t.Context(), []record.Block{Block("hub/b", 90, 1, 1, Noon), b}, nil), journal.ErrOrder)
	}
	put(t, j, nil, Block("hub/a", 50, 1, 2, Noon+5e9))
	wantErr(t, "a block that is not the last", j.AppendReadings(t.Context(), []record.Block{first(a, 8)}, nil), journal.ErrOrder)
	if got := ords(Gather(t, j.Inputs(t.Context(), 0, math.MaxUint64))); !slices.Equal(got, []uint64{10, 11, 12, 13, 50, 51}) {
		t.Errorf("ordinals %v", got)
	}
	Sound(t, j)
}

// A block ends with the day, however its keeper goes on: what came on the next
// one is a block of its own, and grows.
func testGrowsWithinADay(t *testing.T, maker Maker) {
	open := maker(t)
	j := open()
	midnight := Noon.Add(12 * time.Hour)
	a := Block("hub/a", 1, 1, 10, midnight-45e7)
	for n, number := range []uint64{1, 1, 1, 1, 1, 2, 2, 2, 2, 2} {
		for range 2 {
			if b := put(t, j, nil, first(a, n+1)); b[0].Number != number {
				t.Fatalf("scan %d is in block %d, want %d", n, b[0].Number, number)
			}
		}
	}
	twice(t, j, open, func(t *testing.T, j journal.Journal) {
		put(t, j, nil, a, first(a, 3), first(a, 8))
		got := Gather(t, j.Readings(t.Context(), "hub/a", sample.Past, sample.Never))
		if len(got) != 2 || len(got[0].Scans) != 5 || len(got[1].Scans) != 5 || got[1].After != 5 {
			t.Errorf("%d blocks: %+v", len(got), got)
		}
		if got := ords(Gather(t, j.Inputs(t.Context(), 0, math.MaxUint64))); !slices.Equal(got, upTo(1, 10)) {
			t.Errorf("ordinals %v", got)
		}
	})
}

// Who reads while blocks grow sees all that was kept when it began, once: the
// page with the short block may be behind it when the block has grown.
func testInputsWhileGrowing(t *testing.T, maker Maker) {
	j := opened(t, maker)
	const calls, width = 300, 7
	var a, b record.Block // of the one who writes
	whileWriting(t, j, calls, func(i uint64, at sample.Instant) []record.Block {
		if i%width == 0 {
			a, b = Block("hub/a", 2*i+1, 2, width, at), Block("hub/b", 2*i+2, 2, width, at)
		}
		n := int(i%width) + 1
		return []record.Block{first(a, n), first(b, n)}
	}, func(last uint64) bool {
		for _, from := range []uint64{1, max(last, 3) - 2} {
			n := from
			for in, err := range j.Inputs(t.Context(), from, last) {
				if err != nil || in.Ord != n {
					t.Errorf("input %d of %d to %d has ordinal %d, error %v", n, from, last, in.Ord, err)
					return false
				}
				n++
			}
			if n != last+1 && last >= from {
				t.Errorf("inputs from %d end before %d, want up to %d", from, n, last)
				return false
			}
		}
		for f, err := range j.Check(t.Context()) {
			t.Errorf("while blocks grow: %v, %v", f, err)
			return false
		}
		return true
	})
}
