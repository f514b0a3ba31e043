package archive

import (
	"math"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/stream/history"
	"weald/stream/journal"
	"weald/stream/journal/sqlite"
	"weald/stream/record"
)

// Of ten days the first have been deleted. Whoever asks for all of them has a gap
// there, at any resolution, and what is left behind it; where only seconds have
// gone, minutes answer.
func TestWhatWasDeletedIsAGap(t *testing.T) {
	s, err := sqlite.Open(t.Context(), t.TempDir(), sqlite.Options{Reserve: -1})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	const days = 10
	began := sample.At(time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC))
	ends := began.Add(days * 24 * time.Hour)
	for _, tier := range record.Tiers() {
		stretch := record.Stretch{Place: "bench-1", Series: ankle, Tier: tier}
		for at := began; at < ends; at = at.Add(max(10*time.Minute, tier.Step())) {
			stretch.Points = append(stretch.Points, record.Point{At: at, Min: 30, Mean: 40, Max: 50})
		}
		if err := s.PutHistory(t.Context(), stretch); err != nil {
			t.Fatal(err)
		}
	}
	memory := history.New(1, oneSeries)
	reader := NewReader(memory, ids, s)
	ask := func(points int) (known func(from, to sample.Instant) int) {
		a, err := reader.Query(t.Context(), history.Query{From: began, To: ends, Points: points})
		if err != nil {
			t.Fatal(err)
		}
		l := &a.Series[0]
		if n := len(l.T); n < points/3 || l.T[0] > began || l.T[n-1] < ends.Add(-2*a.Step) {
			t.Fatalf("%d points from %v to %v, of %v", n, l.T[0], l.T[n-1], a.Step)
		}
		return func(from, to sample.Instant) (n int) {
			for i, at := range l.T {
				if at >= from && at < to && !math.IsNaN(l.Mean[i]) {
					n++
				}
			}
			return n
		}
	}
	middle := began.Add(5 * 24 * time.Hour) // a window of every tier begins within five days of it
	retire := func(limits journal.Limits) {
		plan, err := s.PlanRetention(t.Context(), limits, ends)
		if err != nil {
			t.Fatal(err)
		}
		plan.Doubt = ""
		if err := s.Retire(t.Context(), plan); err != nil {
			t.Fatal(err)
		}
	}
	aDay := journal.Limit{Age: 24 * time.Hour}
	retire(journal.Limits{journal.Seconds: aDay})
	if n := ask(1000)(began, middle); n == 0 {
		t.Error("seconds were deleted, and minutes do not answer")
	}
	retire(journal.Limits{journal.Seconds: aDay, journal.Minutes: aDay, journal.Quarters: aDay})
	for _, points := range []int{20, 240, 2000} {
		known := ask(points)
		if first, last := known(began, began.Add(24*time.Hour)), known(ends.Add(-12*time.Hour), ends); first != 0 || last == 0 {
			t.Errorf("%d points: %d are known of the first day, which was deleted, and %d of the last half day", points, first, last)
		}
	}
}
