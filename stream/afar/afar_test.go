package afar

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// An alert that becomes known long after it was raised is late, another one is not, and one
// that was known before is neither; it is not seen any more when the link is gone, and is
// forgotten an hour after it was over.
func TestLate(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := new(journaltest.Memory)
		change := func(rule string, what alert.Change, state alert.State, written time.Time) {
			t.Helper()
			e := alert.Event{What: what, State: state, At: sample.At(written)}
			e.Place, e.Rule = "bed-4", rule
			if _, err := j.Append(t.Context(), record.Entry{At: e.At, Written: e.At, Place: e.Place, Body: record.Transition{Event: e}}); err != nil {
				t.Fatal(err)
			}
			synctest.Wait()
		}
		change("known", alert.Raised, alert.Unacknowledged, time.Now().Add(-time.Hour))
		w := New(time.Now)
		ctx, stop := context.WithCancel(t.Context())
		ended := make(chan error, 1)
		go func() { ended <- w.Follow(ctx, j) }()
		synctest.Wait()
		if l := w.Look(); l.Reached || !l.Seen.Equal(time.Now().Add(-time.Hour)) || len(l.Alerts) != 1 {
			t.Errorf("before it is seen: %+v", l)
		}
		w.Sighted(Sight{At: time.Now(), Reached: true})
		seen := time.Now()
		change("prompt", alert.Raised, alert.Unacknowledged, time.Now().Add(-time.Second))
		w.Sighted(Sight{At: time.Now()})
		time.Sleep(time.Minute)
		if l := w.Look(); l.Reached || !l.Seen.Equal(seen) {
			t.Errorf("without a link: %+v", l)
		}
		change("late", alert.Raised, alert.Unacknowledged, time.Now().Add(-30*time.Second))
		reached := time.Now()
		for _, a := range w.Look().Alerts {
			if late := a.ReachedAt != nil; late != (a.Rule == "late") || late && !a.ReachedAt.Equal(reached) {
				t.Errorf("%s became known at %v", a.Rule, a.ReachedAt)
			}
		}
		change("late", alert.Cleared, alert.Normal, time.Now())
		time.Sleep(time.Hour + time.Second)
		change("late", alert.Raised, alert.Unacknowledged, time.Now()) // which it was not now
		for _, a := range w.Look().Alerts {
			if a.ReachedAt != nil {
				t.Errorf("%s is late for what was before", a.Rule)
			}
		}
		change("late", alert.Cleared, alert.Normal, time.Now())
		change("over", alert.Cleared, alert.Returned, time.Now()) // which somebody still has to look at
		time.Sleep(time.Hour + time.Second)
		change("prompt", alert.Cleared, alert.Normal, time.Now())
		if n := len(w.Look().Alerts); n != 3 {
			t.Errorf("%d alerts are listed", n)
		}
		stop()
		if err := <-ended; !errors.Is(err, context.Canceled) {
			t.Error(err)
		}
	})
}
