package sqlite

import (
	"cmp"
	"errors"
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/record"
)

// within is held to what it means, point by point.
func TestWithinAgainstAReference(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		at := sample.Instant(rapid.Int64Range(-20, 20).Draw(t, "first"))
		var points, want []record.Point
		from := sample.Instant(rapid.Int64Range(-25, 60).Draw(t, "from"))
		to := sample.Instant(rapid.Int64Range(-25, 60).Draw(t, "to"))
		for i := range rapid.IntRange(0, 12).Draw(t, "points") {
			at += sample.Instant(rapid.Int64Range(1, 5).Draw(t, "step"))
			p := record.Point{At: at, Mean: float32(i)}
			points = append(points, p)
			if at >= from && at < to {
				want = append(want, p)
			}
		}
		if to < from {
			return // History does not ask for that
		}
		if got := within(points, from, to); !slices.Equal(got, want) {
			t.Fatalf("from %d to %d: %v, want %v", from, to, got, want)
		}
	})
}

// Of points for one instant the one that was put last stays, and all come in order.
func TestNewestOfEachAgainstAReference(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var points []record.Point
		newest := map[sample.Instant]record.Point{}
		for i := range rapid.IntRange(0, 30).Draw(t, "points") {
			p := record.Point{At: sample.Instant(rapid.Int64Range(-5, 5).Draw(t, "at")), Mean: float32(i)}
			points = append(points, p)
			newest[p.At] = p
		}
		var want []record.Point
		for _, p := range newest {
			want = append(want, p)
		}
		slices.SortFunc(want, func(a, b record.Point) int { return cmp.Compare(a.At, b.At) })
		if got := newestOfEach(points); !slices.Equal(got, want) {
			t.Fatalf("%v, want %v", got, want)
		}
	})
}

// epochs are instants about which a calendar, a sign or a window may go wrong.
var epochs = []sample.Instant{
	0,
	sample.At(time.Date(1969, 12, 31, 23, 59, 0, 0, time.UTC)),
	sample.At(time.Date(1900, 3, 1, 0, 0, 0, 0, time.UTC)),
	sample.At(time.Date(2024, 2, 29, 12, 0, 0, 0, time.UTC)),
	sample.At(time.Date(2026, 12, 31, 23, 0, 0, 0, time.UTC)),
	sample.At(time.Date(2100, 1, 1, 0, 0, 0, 0, time.UTC)),
}

// A curve of many years, with holes, with points that were put again, and with those that
// are unknown in part beside those that are zero, comes back point by point: whatever is
// asked for, to the nanosecond, and however it lies to the windows in which it is kept.
func TestHistoryAtItsEdges(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	nan := float32(math.NaN())
	for _, tier := range record.Tiers() {
		step, w := sample.Instant(tier.Step()), windowOf(tier)
		all := map[sample.Instant]record.Point{}
		var stretches []record.Stretch
		put := func(points ...record.Point) {
			for _, p := range points {
				all[p.At] = p
			}
			stretches = append(stretches, record.Stretch{Place: "bed-4", Series: "peak", Tier: tier, Points: points})
		}
		edges := map[sample.Instant]bool{sample.Past: true, sample.Never: true}
		for k, at := range epochs {
			begin := sample.Instant(window(tier, at)) * w // of a window, with points on both sides
			var points []record.Point
			for i := sample.Instant(-3); i < 4; i++ {
				if i == 1 {
					continue // a hole
				}
				points = append(points, record.Point{At: begin + i*step, Min: 0, Mean: []float32{0, nan, float32(k)}[(i+3)%3], Max: float32(i)})
			}
			put(points...)
			put(record.Point{At: begin, Min: -1, Mean: 0, Max: 99}, record.Point{At: begin + w - step, Max: 1}) // again, and the last of the window
			for _, x := range []sample.Instant{begin - step, begin, begin + step, begin + w - step, begin + w} {
				edges[x-1], edges[x], edges[x+1] = true, true, true
			}
		}
		if err := s.PutHistory(t.Context(), stretches...); err != nil {
			t.Fatal(err)
		}
		var sorted []record.Point
		for _, p := range all {
			sorted = append(sorted, p)
		}
		slices.SortFunc(sorted, func(a, b record.Point) int { return cmp.Compare(a.At, b.At) })
		same := func(a, b record.Point) bool {
			return a.At == b.At && a.Min == b.Min && a.Max == b.Max && (a.Mean == b.Mean || a.Mean != a.Mean && b.Mean != b.Mean)
		}
		asked := 0
		for from := range edges {
			for to := range edges {
				if asked++; asked%31 != 0 && to.Sub(from) > 3*time.Duration(w) && from != sample.Past && to != sample.Never {
					continue // some of those that are far apart
				}
				var want []record.Point
				for _, p := range sorted {
					if p.At >= from && p.At < to {
						want = append(want, p)
					}
				}
				got, err := s.History(t.Context(), "bed-4", "peak", tier, from, to, nil)
				if err != nil || !slices.EqualFunc(got, want, same) {
					t.Fatalf("%v from %v to %v: %v\n%v, want\n%v", tier, from, to, err, got, want)
				}
			}
		}
	}
	if _, err := s.History(t.Context(), "bed-4", "peak", 9, 0, 1, nil); err == nil {
		t.Error("there is history of a tier that there is not")
	}
}

// Rows of one window that are damaged cost their own points, which are told to be lost;
// the others, of the same window too, come as they were.
func TestDamagedHistoryCostsItself(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	put := func(i int) {
		t.Helper()
		p := record.Point{At: epochs[3] + sample.Instant(i)*1e9, Mean: float32(i)}
		if err := s.PutHistory(t.Context(), record.Stretch{Place: "bed-4", Series: "peak", Tier: record.Second, Points: []record.Point{p}}); err != nil {
			t.Fatal(err)
		}
	}
	for _, i := range []int{3, 1, 2, 0, 700, 701} { // in two windows, and not in order
		put(i)
	}
	ask := func() ([]float32, error) {
		points, err := s.History(t.Context(), "bed-4", "peak", record.Second, epochs[3], epochs[3].Add(time.Hour), []record.Point{{At: 1 << 61, Mean: -1}})
		var means []float32
		for _, p := range points {
			means = append(means, p.Mean)
		}
		return means, err
	}
	if got, err := ask(); err != nil || !slices.Equal(got, []float32{-1, 0, 1, 2, 3, 700, 701}) {
		t.Errorf("%v, %v", got, err)
	}
	if _, err := s.main.w.Exec("UPDATE history SET body = zeroblob(9) WHERE id IN (1, 6)"); err != nil {
		t.Fatal(err)
	}
	got, err := ask()
	var loss *journal.Loss
	if !slices.Equal(got, []float32{-1, 0, 1, 2, 700}) || !errors.As(err, &loss) {
		t.Errorf("%v, %v", got, err)
	}
	put(3) // it can be put again
	if got, err := ask(); !slices.Equal(got, []float32{-1, 0, 1, 2, 3, 700}) || !errors.As(err, &loss) {
		t.Errorf("put again: %v, %v", got, err)
	}
}
