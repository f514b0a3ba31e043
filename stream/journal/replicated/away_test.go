package replicated

import (
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"weald/stream/journal"
	"weald/stream/journal/journaltest"
)

// Without a majority nobody waits for longer than a call may take, nor do those who come one after
// the other; who is told that nothing was changed finds nothing of it in the log afterwards, and
// who is told that it is kept finds it there once. When servers answer again calls are taken at once.
func TestNobodyWaitsForServersThatAreGone(t *testing.T) {
	const within = 10 * time.Second
	for _, arrives := range []bool{false, true} {
		following(t, func(t *testing.T, s *servers, f *follower) {
			f.options.Within = within
			f.with(s, "me")
			s.all(arrives, false)
			var changed, refused []string
			say := func(text string) error {
				_, err := f.Append(t.Context(), journaltest.Mark(text))
				if errors.Is(err, journal.ErrUnchanged) {
					refused = append(refused, text)
				}
				return err
			}
			began := time.Now()
			for i := range 30 { // as they would who wait for a lock
				if err := say(fmt.Sprintf("queued%d.", i)); !errors.Is(err, journal.ErrUnreached) || (i == 0) == errors.Is(err, journal.ErrUnchanged) {
					t.Errorf("call %d is told %v", i, err)
				}
			}
			if lasted := time.Since(began); lasted != within {
				t.Errorf("thirty of them waited for %v", lasted)
			}
			time.Sleep(time.Minute)
			began = time.Now()
			var all sync.WaitGroup
			for i := range 30 { // at once: one finds out, and the others do not wait
				all.Go(func() {
					if _, err := f.Append(t.Context(), journaltest.Mark(fmt.Sprintf("together%d.", i))); !errors.Is(err, journal.ErrUnreached) || time.Since(began) > 0 && errors.Is(err, journal.ErrUnchanged) {
						t.Errorf("after %v it is told %v", time.Since(began), err)
					}
				})
			}
			all.Wait()
			if lasted := time.Since(began); lasted != within {
				t.Errorf("one of thirty found out for %v", lasted)
			}
			s.all(true, true)
			time.Sleep(askEvery)
			began = time.Now()
			for i := range 3 {
				text := fmt.Sprintf("there%d.", i)
				if changed = append(changed, text); say(text) != nil || time.Since(began) > 0 {
					t.Errorf("they answer, and a call waits for %v", time.Since(began))
				}
			}
			synctest.Wait()
			got := texts(t, f)
			for _, text := range refused {
				if strings.Contains(got, text) {
					t.Errorf("%s was refused, and is in the log", text)
				}
			}
			for _, text := range changed {
				if strings.Count(got, text) != 1 {
					t.Errorf("%s is in the log %d times", text, strings.Count(got, text))
				}
			}
		})
	}
}

// Who waits for less than servers take to agree on a leader does not have others refused.
func TestImpatienceSaysLittle(t *testing.T) {
	following(t, func(t *testing.T, s *servers, f *follower) {
		f.options.Within = 10 * time.Second
		f.with(s, "me")
		s.all(false, false)
		for range 3 {
			if _, err := mark(t, f, 2*time.Second, "impatient"); err == nil {
				t.Error("it is told kept")
			}
		}
		time.AfterFunc(4*time.Second, func() { s.all(true, true) })
		if _, err := f.Append(t.Context(), journaltest.Mark("patient")); err != nil {
			t.Errorf("who waits is told %v", err)
		}
	})
}
