package pipeline

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"weald/ingest/sample"
)

// An agenda says the same as a look at every place.
func TestAgendaIsALookAtEveryPlace(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 20).Draw(t, "places")
		a, all := newAgenda(n), make([]sample.Instant, n)
		for i := range all {
			all[i] = sample.Never
		}
		for range rapid.IntRange(0, 40).Draw(t, "changes") {
			if n == 0 {
				break
			}
			i := rapid.IntRange(0, n-1).Draw(t, "place")
			all[i] = sample.Instant(rapid.Int64Range(0, 9).Draw(t, "at"))
			if rapid.IntRange(0, 4).Draw(t, "never") == 0 {
				all[i] = sample.Never
			}
			a.set(i, all[i])
			if want := slices.Min(all); a.first() != want {
				t.Fatalf("first at %v of %v, want %v", a.first(), all, want)
			}
		}
		now := sample.Instant(rapid.Int64Range(-1, 9).Draw(t, "now"))
		var want, got []int
		for i, at := range all {
			if at <= now {
				want = append(want, i)
			}
		}
		a.due(now, func(place int) {
			got = append(got, place)
			a.set(place, sample.Never)
		})
		if !slices.Equal(got, want) {
			t.Fatalf("by %v %v are due, want %v of %v", now, got, want, all)
		}
	})
}
