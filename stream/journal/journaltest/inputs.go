package journaltest

import (
	"math"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/record"
)

// ords returns the ordinals of inputs.
func ords(inputs []record.Input) []uint64 {
	var all []uint64
	for _, in := range inputs {
		all = append(all, in.Ord)
	}
	return all
}

func upTo(first, last uint64) []uint64 {
	var all []uint64
	for n := first; n <= last; n++ {
		all = append(all, n)
	}
	return all
}

// Three sources, ticks and actions, interleaved: they come back as one sequence.
func testInputs(t *testing.T, maker Maker) {
	open := maker(t)
	j := open()
	for second := range uint64(20) {
		base, at := 1+second*32, Noon+sample.Instant(second)*1e9
		put(t, j, []record.Tick{{Ord: base + 30, At: at}, {Ord: base + 31, Place: "bed-4", At: at + 5e8}},
			Block("hub/a", base, 3, 10, at), Block("hub/b", base+1, 3, 10, at), Block("hub/c", base+2, 3, 9, at))
		add(t, j, Act(base+29))
	}
	twice(t, j, open, func(t *testing.T, j journal.Journal) {
		all := Gather(t, j.Inputs(t.Context(), 0, math.MaxUint64))
		if got := ords(all); !slices.Equal(got, upTo(1, 640)) {
			t.Fatalf("ordinals %v", got)
		}
		for _, in := range all {
			base := (in.Ord-1)/32*32 + 1
			at := Noon + sample.Instant((in.Ord-1)/32)*1e9
			switch k := in.Ord - base; {
			case k == 29:
				if in.Entry == nil || in.Entry.Ord != in.Ord {
					t.Fatalf("input %d is %+v, want an action", in.Ord, in)
				}
			case k == 30 || k == 31:
				if in.Tick == nil || in.Tick.At < at || (in.Tick.Place == "bed-4") != (k == 31) {
					t.Fatalf("input %d is %+v, want a tick", in.Ord, in)
				}
			default:
				source, n := []string{"hub/a", "hub/b", "hub/c"}[k%3], []int{10, 10, 9}[k%3]
				want := Block(source, base+k%3, 3, n, at).Scans[k/3]
				if in.Scan == nil || in.Source != source || in.Config != 1 {
					t.Fatalf("input %d is %+v, want a scan of %s", in.Ord, in, source)
				}
				if diff := cmp.Diff(want, *in.Scan, same); diff != "" {
					t.Fatalf("input %d came back changed:\n%s", in.Ord, diff)
				}
			}
		}
		for _, r := range [][2]uint64{{1, 1}, {5, 5}, {30, 33}, {100, 300}, {640, 900}, {641, math.MaxUint64}, {300, 200}} {
			want := []uint64(nil)
			if r[0] <= r[1] {
				want = upTo(r[0], min(r[1], 640))
			}
			if got := ords(Gather(t, j.Inputs(t.Context(), r[0], r[1]))); !slices.Equal(got, want) {
				t.Errorf("inputs %d to %d are %v", r[0], r[1], got)
			}
		}
		for in, err := range j.Inputs(t.Context(), 1, 640) {
			if err != nil || in.Ord > 7 {
				break
			}
		}
		if h, err := j.Head(t.Context()); err != nil || h.Ord != 640 || h.Position != 20 {
			t.Errorf("head %+v, %v", h, err)
		}
	})
}

// Whoever does not know what became of a call makes it again.
func testRepeated(t *testing.T, maker Maker) {
	open := maker(t)
	j := open()
	call := func(i uint64) ([]record.Tick, []record.Block) {
		at := Noon + sample.Instant(i)*1e9
		return []record.Tick{{Ord: 100*i + 50, At: at}}, []record.Block{Block("hub/a", 100*i+1, 2, 10, at), Block("hub/b", 100*i+2, 2, 10, at)}
	}
	for i := range uint64(5) {
		for range 3 {
			ticks, blocks := call(i)
			put(t, j, ticks, blocks...)
			for _, b := range blocks {
				if b.Number != i+1 {
					t.Errorf("block of %s in call %d has number %d", b.Source, i, b.Number)
				}
			}
		}
	}
	twice(t, j, open, func(t *testing.T, j journal.Journal) {
		for i := range uint64(5) {
			ticks, blocks := call(i)
			put(t, j, ticks, blocks...)
		}
		if got := Gather(t, j.Inputs(t.Context(), 0, math.MaxUint64)); len(got) != 5*21 {
			t.Errorf("%d inputs, want %d", len(got), 5*21)
		}
	})
}

func testOrdinalsAscend(t *testing.T, maker Maker) {
	open := maker(t)
	j := open()
	put(t, j, []record.Tick{{Ord: 40}}, Block("hub/a", 10, 1, 10, Noon), Block("hub/b", 30, 1, 5, Noon))
	twice(t, j, open, func(t *testing.T, j journal.Journal) {
		other := Block("hub/a", 10, 1, 10, Noon)
		other.Scans[4].Raw[0]++
		ctx := t.Context()
		for name, b := range map[string]record.Block{
			"another of the same ordinals": other,
			"an overlap":                   Block("hub/a", 15, 1, 10, Noon),
			"the last one again":           Block("hub/a", 19, 1, 1, Noon),
			"an older one":                 Block("hub/a", 3, 1, 2, Noon),
		} {
			wantErr(t, name, j.AppendReadings(ctx, []record.Block{Block("hub/b", 90, 1, 1, Noon), b}, nil), journal.ErrOrder)
		}
		wantErr(t, "a tick again, elsewhere", j.AppendReadings(ctx, nil, []record.Tick{{Ord: 40, Place: "bed-4"}}), journal.ErrOrder)
		wantErr(t, "ticks backwards", j.AppendReadings(ctx, nil, []record.Tick{{Ord: 52}, {Ord: 51}}), record.ErrInvalid)
		wantErr(t, "no scans", j.AppendReadings(ctx, []record.Block{{Source: "hub/a"}}, nil), record.ErrInvalid)
		wantErr(t, "too great", j.AppendReadings(ctx, []record.Block{Block("hub/a", 1<<63, 1, 1, Noon)}, nil), record.ErrInvalid)
		wantErr(t, "too late", j.AppendReadings(ended(), []record.Block{Block("hub/a", 99, 1, 1, Noon)}, nil), ended().Err())
		wantErr(t, "ticks that begin elsewhere", j.AppendReadings(ctx, nil, []record.Tick{{Ord: 39}, {Ord: 40}, {Ord: 45}}), journal.ErrOrder)
		if err := j.AppendReadings(ctx, nil, nil); err != nil {
			t.Errorf("nothing: %v", err)
		}
		if got := Gather(t, j.Inputs(ctx, 0, math.MaxUint64)); len(got) != 16 {
			t.Errorf("%d inputs, want the 16 of the good call", len(got))
		}
		if h, _ := j.Head(ctx); h.Ord != 40 {
			t.Errorf("refused calls moved the head to %d", h.Ord)
		}
	})
}

func testReadingsByTime(t *testing.T, maker Maker) {
	open := maker(t)
	j := open()
	const days = 4
	ord := uint64(1)
	for day := range days {
		for hour := range 24 {
			at := Noon.Add(time.Duration(24*day+hour) * time.Hour)
			put(t, j, nil, Block("hub/a", ord, 1, 10, at), Block("hub/b", ord+10, 1, 10, at))
			ord += 20
		}
	}
	stored := Block("hub/a", ord, 1, 10, Noon.Add(90*time.Minute))
	for i := range stored.Scans {
		stored.Scans[i].Arrived, stored.Scans[i].Stored = Noon.Add(days*24*time.Hour), true
	}
	put(t, j, nil, stored)
	twice(t, j, open, func(t *testing.T, j journal.Journal) {
		ctx := t.Context()
		from, to := Noon.Add(time.Hour), Noon.Add(50*time.Hour)
		got := Gather(t, j.Readings(ctx, "hub/a", from, to))
		if len(got) != 50 || got[49].Scans[0].Ord != ord || !got[49].Scans[0].Stored {
			t.Fatalf("%d blocks, want 49 and the stored one", len(got))
		}
		for i, b := range got[:49] {
			if b.Source != "hub/a" || b.Number != uint64(i+2) || b.Scans[0].At != from.Add(time.Duration(i)*time.Hour) {
				t.Fatalf("block %d is number %d of %s at %v", i, b.Number, b.Source, b.Scans[0].At)
			}
		}
		last := Noon + 9e8
		for _, c := range []struct {
			from, to sample.Instant
			want     int
		}{{Noon, Noon + 1, 1}, {last, last + 1, 1}, {last + 1, last + 2, 0}, {Noon, Noon, 0}, {to, from, 0}, {Noon + 1, Noon + 2, 0}} {
			if got := Gather(t, j.Readings(ctx, "hub/a", c.from, c.to)); len(got) != c.want {
				t.Errorf("from %v to %v there are %d blocks, want %d", c.from, c.to, len(got), c.want)
			}
		}
		if got := Gather(t, j.Readings(ctx, "hub/z", sample.Past, sample.Never)); len(got) != 0 {
			t.Errorf("%d blocks of a source that is not there", len(got))
		}
		for _, c := range []struct {
			from, to    sample.Instant
			first, last uint64
		}{
			{sample.Past, sample.Never, 1, ord + 9}, {Noon, Noon.Add(time.Hour), 1, 20}, {Noon + 5e8, Noon + 6e8, 1, 20},
			{Noon.Add(time.Hour), Noon.Add(2 * time.Hour), 21, ord + 9}, // the stored one is in it
			{Noon.Add(20 * time.Hour), Noon.Add(40 * time.Hour), 401, 800},
		} {
			if first, last, err := j.Span(ctx, c.from, c.to); err != nil || first != c.first || last != c.last {
				t.Errorf("from %v to %v: ordinals %d to %d, %v; want %d to %d", c.from, c.to, first, last, err, c.first, c.last)
			}
		}
		_, _, err := j.Span(ctx, Noon.Add(-time.Hour), Noon)
		wantErr(t, "before the beginning", err, journal.ErrNotFound)
	})
}

// The host's clock goes to tomorrow, back to yesterday, and on: nothing is lost
// and the order stays.
func testClockSetBack(t *testing.T, maker Maker) {
	open := maker(t)
	j := open()
	ord := uint64(1)
	for _, hours := range []int{0, 1, 48, 49, -24, -23, 0, 1, -1000, 48, 2, 3} {
		at := Noon.Add(time.Duration(hours) * time.Hour)
		put(t, j, []record.Tick{{Ord: ord + 20, At: at}}, Block("hub/a", ord, 2, 10, at), Block("hub/b", ord+1, 2, 10, at))
		ord += 21
	}
	twice(t, j, open, func(t *testing.T, j journal.Journal) {
		if got := ords(Gather(t, j.Inputs(t.Context(), 0, math.MaxUint64))); !slices.Equal(got, upTo(1, ord-1)) {
			t.Errorf("ordinals %v", got)
		}
		got := Gather(t, j.Readings(t.Context(), "hub/a", sample.Past, sample.Never))
		if len(got) != 12 {
			t.Errorf("%d blocks, want 12", len(got))
		}
		for i, b := range got {
			if b.Number != uint64(i+1) {
				t.Errorf("block %d comes as number %d", b.Number, i+1)
			}
		}
	})
}

// Reading does not stop writing, nor see half of what is written.
func testInputsWhileWriting(t *testing.T, maker Maker) {
	j := opened(t, maker)
	const calls = 120
	whileWriting(t, j, calls, func(i uint64, at sample.Instant) []record.Block {
		return []record.Block{Block("hub/a", 20*i+1, 2, 10, at), Block("hub/b", 20*i+2, 2, 10, at)}
	}, func(last uint64) bool {
		n := uint64(0)
		for in, err := range j.Inputs(t.Context(), 1, last) {
			if n++; err != nil || in.Ord != n {
				t.Errorf("input %d has ordinal %d, error %v", n, in.Ord, err)
				return false
			}
		}
		if n != last || n%20 != 0 {
			t.Errorf("%d inputs up to %d", n, last)
			return false
		}
		return true
	})
}

// whileWriting appends the blocks of so many calls, a second apart. Meanwhile
// three others look, whenever there is more, at what there is up to the last ordinal,
// until all is written or look says that something is wrong.
func whileWriting(t *testing.T, j journal.Journal, calls uint64, blocks func(i uint64, at sample.Instant) []record.Block, look func(last uint64) bool) {
	t.Helper()
	var wg sync.WaitGroup
	done := make(chan struct{})
	wg.Go(func() {
		defer close(done)
		for i := range calls {
			if err := j.AppendReadings(t.Context(), blocks(i, Noon+sample.Instant(i)*1e9), nil); err != nil {
				t.Error(err)
				return
			}
		}
	})
	for range 3 {
		wg.Go(func() {
			seen := uint64(math.MaxUint64)
			for open := true; open; {
				select {
				case <-done:
					open = false
				default:
				}
				h, err := j.Head(t.Context())
				if err != nil {
					t.Error(err)
					return
				}
				if h.Ord == seen { // who looks again at the same only takes time from who writes
					time.Sleep(time.Millisecond)
					continue
				}
				seen = h.Ord
				if !look(h.Ord) {
					return
				}
			}
		})
	}
	wg.Wait()
	Sound(t, j)
}
