package afar

import (
	"context"
	"os"
	"path/filepath"
	"testing"
	"testing/synctest"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// following is a Ward that follows a journal until it is ended.
func following(t *testing.T, j *journaltest.Memory, file, log string) (w *Ward, end func()) {
	w = New(time.Now)
	w.KeepLate(file, log, func(err error) { t.Error(err) })
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { defer close(done); _ = w.Follow(ctx, j) }()
	synctest.Wait()
	return w, func() { stop(); <-done }
}

// raise lets an alert be raised and kept at an instant.
func raise(t *testing.T, j *journaltest.Memory, rule string, written time.Time) {
	t.Helper()
	e := alert.Event{What: alert.Raised, State: alert.Unacknowledged, At: sample.At(written)}
	e.Place, e.Rule = "bed-4", rule
	if _, err := j.Append(t.Context(), record.Entry{At: e.At, Written: e.At, Place: e.Place, Body: record.Transition{Event: e}}); err != nil {
		t.Fatal(err)
	}
	synctest.Wait()
}

// knownAt are the alerts that became known late, and when.
func knownAt(w *Ward) map[string]time.Time {
	all := map[string]time.Time{}
	for _, a := range w.Look().Alerts {
		if a.ReachedAt != nil {
			all[a.Rule] = *a.ReachedAt
		}
	}
	return all
}

// A centre that is started anew tells as late what it told as late before, and when it
// became known; what came while it was not there became known when it was there again.
// Of another log nothing of that holds, and a file that cannot be read costs it alone.
func TestLateOverAStart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j, file := new(journaltest.Memory), filepath.Join(t.TempDir(), "known.json")
		raise(t, j, "before", time.Now().Add(-time.Hour))
		w, end := following(t, j, file, "a")
		raise(t, j, "prompt", time.Now())
		raise(t, j, "late", time.Now().Add(-time.Minute))
		first := time.Now()
		raise(t, j, "prompt too", time.Now())
		if got := knownAt(w); len(got) != 1 || !got["late"].Equal(first) {
			t.Errorf("late are %v", got)
		}
		end()
		raise(t, j, "without it", time.Now())
		time.Sleep(time.Minute)
		raise(t, j, "just now", time.Now().Add(-time.Second))
		second := time.Now()
		for range 2 {
			w, end = following(t, j, file, "a")
			if got := knownAt(w); len(got) != 2 || !got["late"].Equal(first) || !got["without it"].Equal(second) {
				t.Errorf("after a start late are %v", got)
			}
			end()
			time.Sleep(time.Minute)
		}
		w, end = following(t, j, file, "b")
		if got := knownAt(w); len(got) != 0 {
			t.Errorf("of another log late are %v", got)
		}
		end()
		if err := os.WriteFile(file, []byte("{"), 0o600); err != nil {
			t.Fatal(err)
		}
		var said error
		w = New(time.Now)
		w.KeepLate(file, "b", func(err error) { said = err })
		if said == nil {
			t.Error("nobody is told of a file that cannot be read")
		}
	})
}

// A ward is seen when all has been taken in that it had when it was asked, and as of then;
// not while its servers answer and the copy is behind them, or who shows it behind the copy.
func TestSeenIsWhole(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := new(journaltest.Memory)
		for range 3 {
			raise(t, j, "tight", time.Now().Add(-time.Hour))
		}
		w := New(time.Now)
		asked := time.Now()
		w.Sighted(Sight{At: asked, Reached: true, Through: 3})
		if l := w.Look(); l.Whole || !l.Reached || !l.Seen.IsZero() {
			t.Errorf("nothing has been read of the copy: %+v", l)
		}
		time.Sleep(time.Second)
		ctx, stop := context.WithCancel(t.Context())
		defer stop()
		go func() { _ = w.Follow(ctx, j) }()
		synctest.Wait()
		if l := w.Look(); !l.Whole || !l.Seen.Equal(asked) {
			t.Errorf("all has been read that there was at %v: %+v", asked, l)
		}
		time.Sleep(time.Minute)
		w.Sighted(Sight{At: time.Now(), Reached: true, Behind: 7, Through: 3})
		if l := w.Look(); l.Whole || !l.Reached || l.Behind != 7 || !l.Seen.Equal(asked) {
			t.Errorf("seven have not come: %+v", l)
		}
		written := time.Now().Add(-30 * time.Second)
		raise(t, j, "calf", written)
		if l := w.Look(); l.Whole || !l.Seen.Equal(written) {
			t.Errorf("what came is known as of when it was written, %v: %+v", written, l)
		}
		w.Sighted(Sight{At: time.Now()})
		if l := w.Look(); l.Whole || l.Reached {
			t.Errorf("without a link: %+v", l)
		}
	})
}
