package keeper_test

import (
	"context"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/journal/journaltest"
)

// An alert that is shown as over, as nobody has acknowledged it, was raised when it was raised, also
// after a start that reads no more of the record than it has to: that may be longer ago than it ended.
func TestWhatIsOverWasRaisedWhenItWas(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		j := new(journaltest.Memory)
		l := begin(t, j)
		noon := sample.Instant(12 * time.Hour)
		l.scan(1, noon, []float64{40})
		l.scan(1, noon.Add(2*time.Second), []float64{40}) // raised, and then not known for hours
		stood := time.Duration(rapid.IntRange(1, 30).Draw(t, "hours")) * time.Hour
		l.scan(1, noon.Add(stood), []float64{20})
		later := noon.Add(stood + 11*time.Hour)
		l.act(subjects[0], alert.Action{Verb: alert.TakeOut, At: later, Who: "K-07", Why: "bath"}, false)
		err := l.keeper.Snapshot(t.Context(), func(_ context.Context, f func(uint64, int, func(int, []byte) []byte)) error {
			f(l.ord, len(l.plan.Places), l.engine.SnapshotPlace)
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		past := begin(t, j).resumed.Past
		for _, what := range []alert.Change{alert.Raised, alert.Unknown, alert.Cleared} {
			if !slices.ContainsFunc(past, func(e alert.Event) bool { return e.Key == subjects[2] && e.What == what }) {
				t.Fatalf("it is not told that it was %s: %+v", what, past)
			}
		}
	})
}
