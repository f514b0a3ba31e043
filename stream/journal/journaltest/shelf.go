package journaltest

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/record"
)

func testSnapshots(t *testing.T, maker Maker) {
	open := maker(t)
	j := open()
	ctx := t.Context()
	_, err := j.Snapshot(ctx, math.MaxUint64)
	wantErr(t, "a snapshot of an empty record", err, journal.ErrNotFound)
	wantErr(t, "a snapshot ahead of the inputs", j.PutSnapshot(ctx, record.Snapshot{Ord: 1}), journal.ErrOrder)
	snapshot := func(ord uint64) record.Snapshot {
		return record.Snapshot{Ord: ord, At: Noon, Config: 2, Body: []byte(strings.Repeat(fmt.Sprint("state ", ord), 999))}
	}
	for ord := uint64(1); ord <= 60; ord += 10 {
		put(t, j, nil, Block("hub/a", ord, 1, 10, Noon+sample.Instant(ord)*1e8))
		if err := j.PutSnapshot(ctx, snapshot(ord+9)); err != nil {
			t.Fatal(err)
		}
	}
	twice(t, j, open, func(t *testing.T, j journal.Journal) {
		for _, c := range []struct{ last, want uint64 }{{math.MaxUint64, 60}, {60, 60}, {59, 50}, {50, 50}} {
			got, err := j.Snapshot(t.Context(), c.last)
			if diff := cmp.Diff(snapshot(c.want), got); err != nil || diff != "" {
				t.Errorf("up to %d: %v\n%s", c.last, err, diff)
			}
		}
		_, err := j.Snapshot(t.Context(), 9)
		wantErr(t, "before the first", err, journal.ErrNotFound)
		again := snapshot(60)
		again.Config = 7
		if err := j.PutSnapshot(t.Context(), again); err != nil {
			t.Fatal(err)
		}
		if got, err := j.Snapshot(t.Context(), 60); err != nil || got.Config != 7 {
			t.Errorf("a snapshot put again: %+v, %v", got.Config, err)
		}
		if err := j.PutSnapshot(t.Context(), snapshot(60)); err != nil {
			t.Fatal(err)
		}
	})
}

func testDocuments(t *testing.T, maker Maker) {
	open := maker(t)
	j := open()
	ctx := t.Context()
	names := []string{"a", "account/1", "account/2", "account/ä", "accountant", "calibration/hub/mat4", "b%_*"}
	for i, name := range names {
		for v := range uint64(3) {
			d := record.Document{Name: name, Version: v, Written: Noon, Body: []byte(fmt.Sprint(name, v+1))}
			switch {
			case i == 2 && v == 2:
				d.Body = nil // taken away
			case i == 1 && v == 2:
				d.Body = []byte{} // empty is not away
			}
			if got, err := j.PutDocument(ctx, d); err != nil || got != v+1 {
				t.Fatalf("%s: version %d, %v", name, got, err)
			}
			for _, wrong := range []uint64{v, v + 2, 0} {
				d.Version = wrong
				_, err := j.PutDocument(ctx, d)
				wantErr(t, "a version that is not the newest", err, journal.ErrConflict)
			}
		}
	}
	_, err := j.PutDocument(ctx, record.Document{Body: []byte("x")})
	wantErr(t, "no name", err, record.ErrInvalid)
	twice(t, j, open, func(t *testing.T, j journal.Journal) {
		ctx := t.Context()
		if d, err := j.Document(ctx, "a", 0); err != nil || d.Version != 3 || string(d.Body) != "a3" || d.Written != Noon {
			t.Errorf("%+v, %v", d, err)
		}
		if d, err := j.Document(ctx, "a", 2); err != nil || d.Version != 2 || string(d.Body) != "a2" {
			t.Errorf("a former version: %+v, %v", d, err)
		}
		if d, err := j.Document(ctx, "account/1", 0); err != nil || d.Body == nil || len(d.Body) != 0 {
			t.Errorf("an empty one: %+v, %v", d, err)
		}
		_, err := j.Document(ctx, "account/2", 0)
		wantErr(t, "one that was taken away", err, journal.ErrNotFound)
		if d, err := j.Document(ctx, "account/2", 2); err != nil || string(d.Body) != "account/22" {
			t.Errorf("what it was before: %+v, %v", d, err)
		}
		for _, v := range []uint64{4, math.MaxUint64} {
			_, err = j.Document(ctx, "a", v)
			wantErr(t, "a version that is not there", err, journal.ErrNotFound)
		}
		_, err = j.Document(ctx, "nobody", 0)
		wantErr(t, "one that never was", err, journal.ErrNotFound)
		for prefix, want := range map[string][]string{
			"account/": {"account/1", "account/ä"}, "account": {"account/1", "account/ä", "accountant"},
			"b%": {"b%_*"}, "b_": nil, "z": nil, "account/1": {"account/1"},
			"": {"a", "account/1", "account/ä", "accountant", "b%_*", "calibration/hub/mat4"},
		} {
			var got []string
			for _, d := range Gather(t, j.Documents(ctx, prefix)) {
				got = append(got, d.Name)
			}
			if !slices.Equal(got, want) {
				t.Errorf("names that begin with %q are %q, want %q", prefix, got, want)
			}
		}
	})
}

// Of many who change one version, one does.
func testDocumentsAtOnce(t *testing.T, maker Maker) {
	j := opened(t, maker)
	const rounds, writers = 10, 8
	for round := range uint64(rounds) {
		var mu sync.Mutex
		won := 0
		var wg sync.WaitGroup
		for w := range writers {
			wg.Go(func() {
				_, err := j.PutDocument(t.Context(), record.Document{Name: "one", Version: round, Body: []byte{byte(w)}})
				mu.Lock()
				defer mu.Unlock()
				if err == nil {
					won++
				} else {
					wantErr(t, "losing", err, journal.ErrConflict)
				}
			})
		}
		wg.Wait()
		if won != 1 {
			t.Fatalf("%d of %d wrote version %d", won, writers, round+1)
		}
	}
}

func testHistory(t *testing.T, maker Maker) {
	open := maker(t)
	j := open()
	ctx := t.Context()
	point := func(tier record.Tier, i int) record.Point {
		step := sample.Instant(tier.Step())
		return record.Point{At: Noon/step*step + sample.Instant(i)*step, Min: float32(i), Mean: float32(i) + 0.25, Max: float32(i) + 0.5}
	}
	for _, tier := range record.Tiers() {
		for k := range 40 { // with a hole of 20 after each 60
			s := record.Stretch{Place: "bed-4", Series: "mat.peak", Tier: tier}
			for i := range 60 {
				s.Points = append(s.Points, point(tier, 80*k+i))
			}
			if err := j.PutHistory(ctx, s); err != nil {
				t.Fatal(err)
			}
		}
	}
	again := record.Stretch{Place: "bed-4", Series: "mat.peak", Tier: record.Second, Points: []record.Point{point(record.Second, 3)}}
	again.Points[0].Max = 99
	late := record.Stretch{Place: "bed-4", Series: "mat.peak", Tier: record.Second, Points: []record.Point{point(record.Second, -7), point(record.Second, 70)}}
	if err := j.PutHistory(ctx, again, late); err != nil {
		t.Fatal(err)
	}
	bad := record.Stretch{Place: "bed-4", Series: "mat.peak", Tier: record.Minute, Points: []record.Point{{At: 1}}}
	wantErr(t, "a bad stretch", j.PutHistory(ctx, record.Stretch{Place: "x", Series: "y", Tier: record.Second, Points: []record.Point{{}}}, bad), record.ErrInvalid)
	if err := j.PutHistory(ctx); err != nil {
		t.Error(err)
	}
	twice(t, j, open, func(t *testing.T, j journal.Journal) {
		ctx := t.Context()
		for _, tier := range record.Tiers() {
			for _, r := range [][2]int{{0, 3200}, {50, 90}, {60, 80}, {100, 101}, {900, 2100}} {
				before := []record.Point{point(tier, r[1]), point(tier, r[0])} // of another series, to stay as they are
				want := slices.Clone(before)
				for i := r[0]; i < r[1]; i++ {
					p := point(tier, i)
					switch {
					case tier == record.Second && i == 3:
						p.Max = 99
					case tier == record.Second && i == 70:
					case i%80 >= 60:
						continue
					}
					want = append(want, p)
				}
				got, err := j.History(ctx, "bed-4", "mat.peak", tier, point(tier, r[0]).At, point(tier, r[1]).At, before)
				if err != nil || !slices.Equal(got, want) {
					t.Errorf("%v, points %d to %d: %v\n%s", tier, r[0], r[1], err, cmp.Diff(want, got))
				}
			}
		}
		for _, c := range [][2]string{{"bed-4", "mat.mean"}, {"bed-5", "mat.peak"}, {"x", "y"}} {
			if got, err := j.History(ctx, c[0], c[1], record.Second, sample.Past, sample.Never, nil); err != nil || len(got) != 0 {
				t.Errorf("%v: %d points, %v", c, len(got), err)
			}
		}
		if got, err := j.History(ctx, "bed-4", "mat.peak", record.Second, Noon.Add(time.Hour), Noon, nil); err != nil || len(got) != 0 {
			t.Errorf("backwards: %d points, %v", len(got), err)
		}
	})
}
