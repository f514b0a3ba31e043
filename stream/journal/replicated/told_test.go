package replicated

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// following has a test run with servers and one who follows them, in a time of its own.
func following(t *testing.T, test func(t *testing.T, s *servers, f *follower)) {
	t.Helper()
	dir := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		s := newServers()
		f := alone(t, dir)
		test(t, s, f)
		f.end(journal.ErrClosed)
		<-f.done
		f.store.Close()
	})
}

// all is what becomes of every message from now on.
func (s *servers) all(kept, said bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.sent = func(label) fate { return fate{kept, said} }
}

// mark keeps a mark, or fails to for as long as that may take.
func mark(t *testing.T, j journal.Log, within time.Duration, text string) (record.Position, error) {
	ctx, stop := context.WithTimeout(t.Context(), within)
	defer stop()
	return j.Append(ctx, journaltest.Mark(text))
}

// Without a majority a call is told nothing but the end of its own patience, whether servers had
// kept it or not; made again when there is one it is kept, once, and told where.
func TestWithoutAMajorityNothingIsToldKept(t *testing.T) {
	for _, kept := range []bool{false, true} {
		following(t, func(t *testing.T, s *servers, f *follower) {
			f.with(s, "me")
			s.all(kept, false)
			began := time.Now()
			for again := range 3 {
				if at, err := mark(t, f, 7*time.Second, "in doubt"); !errors.Is(err, context.DeadlineExceeded) || at != 0 {
					t.Errorf("kept is %v, and for the %dth time it is told position %d, %v", kept, again, at, err)
				}
			}
			if lasted := time.Since(began); lasted != 21*time.Second {
				t.Errorf("it was patient for %v", lasted)
			}
			s.all(true, true)
			if at, err := mark(t, f, time.Minute, "in doubt"); at != 1 || err != nil {
				t.Errorf("it is told position %d, %v", at, err)
			}
			if at, err := mark(t, f, time.Minute, "in doubt"); at != 2 || err != nil {
				t.Errorf("the same again, which is another call, is told position %d, %v", at, err)
			}
			if got := texts(t, f); got != "in doubt in doubt" {
				t.Errorf("it has %q", got)
			}
		})
	}
}

// What is in the log and not in the own files is not told kept: not while nothing comes from there, and
// not while these have no room, when it is told that the call stands. It is carried out once.
func TestWhatTheOwnFilesDoNotHaveIsNotToldKept(t *testing.T) {
	following(t, func(t *testing.T, s *servers, f *follower) {
		m := &moody{Store: f.store, err: journal.ErrFull, times: 9, asked: make(chan struct{}, 100)}
		f.into = m
		s.asked = func(uint64) int { return -1 }
		f.with(s, "me")
		if at, err := mark(t, f, time.Minute, "one"); !errors.Is(err, context.DeadlineExceeded) || at != 0 {
			t.Errorf("while nothing comes: position %d, %v", at, err)
		}
		s.mu.Lock()
		s.asked = nil
		s.mu.Unlock()
		<-m.asked
		synctest.Wait()
		if at, err := mark(t, f, time.Minute, "one"); !errors.Is(err, journal.ErrFull) || !errors.Is(err, journal.ErrLater) || at != 0 {
			t.Errorf("without room: position %d, %v", at, err)
		}
		time.Sleep(time.Minute)
		if at, err := mark(t, f, time.Minute, "one"); at != 1 || err != nil {
			t.Errorf("with room: position %d, %v", at, err)
		}
		if got := texts(t, f); got != "one" {
			t.Errorf("it has %q", got)
		}
	})
}

// A call in parts that lost its majority between two of them has not happened, and made again is a
// new one: the parts of the two are not put together, and nothing of the first is kept.
func TestACallThatStoppedBetweenItsParts(t *testing.T) {
	following(t, func(t *testing.T, s *servers, f *follower) {
		f.with(s, "me").most = 40
		text := strings.Repeat("long ", 40)
		s.sent = func(l label) fate { return fate{l.part < 3, l.part < 3} }
		if at, err := mark(t, f, 20*time.Second, text); !errors.Is(err, context.DeadlineExceeded) || at != 0 {
			t.Errorf("position %d, %v", at, err)
		}
		s.all(true, true)
		if at, err := mark(t, f, time.Minute, text); at != 1 || err != nil {
			t.Errorf("made again: position %d, %v", at, err)
		}
		calls := map[string]bool{}
		for _, m := range s.messages {
			calls[strings.Join(strings.Split(m.header.Get(labelHeader), ".")[1:3], ".")] = true
		}
		if got := texts(t, f); got != text || len(calls) != 2 {
			t.Errorf("it has %d bytes, of %d calls", len(got), len(calls))
		}
	})
}

// A call of more messages than can be whole within reach is refused before any is sent, and one as large as it may be is not;
// what no record may have is refused in the same way. Nothing of it waits.
func TestCallsThatAreTooLarge(t *testing.T) {
	f := alone(t, t.TempDir())
	s := newServers()
	s.sent = func(l label) fate { t.Fatalf("%v is sent", l); return fate{} }
	f.js, f.most = s, 1
	if _, err := f.Append(t.Context(), journaltest.Mark(strings.Repeat("x", mostSent))); !errors.Is(err, record.ErrInvalid) {
		t.Errorf("too many parts: %v", err)
	}
	if _, err := f.Append(t.Context(), record.Entry{}); !errors.Is(err, record.ErrInvalid) {
		t.Errorf("an entry that says nothing: %v", err)
	}
	if len(f.calls.calls) != 0 {
		t.Errorf("%d calls wait", len(f.calls.calls))
	}
}

// Whoever closes a record without a majority waits for what has begun, for ten seconds; that is told that it was
// closed, and so is all that comes after.
func TestClosingWithoutAMajority(t *testing.T) {
	following(t, func(t *testing.T, s *servers, f *follower) {
		f.with(s, "me")
		s.all(false, false)
		told := make(chan error)
		go func() {
			_, err := f.Append(t.Context(), journaltest.Mark("under way"))
			told <- err
		}()
		synctest.Wait()
		began := time.Now()
		go func() { _ = f.Close() }()
		synctest.Wait()
		if _, err := f.Append(t.Context(), journaltest.Mark("after")); !errors.Is(err, journal.ErrClosed) {
			t.Errorf("a call after it: %v", err)
		}
		if err := <-told; !errors.Is(err, journal.ErrClosed) || time.Since(began) != closeWithin {
			t.Errorf("a call under way is told %v, after %v", err, time.Since(began))
		}
		if err := f.Close(); err != nil {
			t.Error(err)
		}
	})
}

// A call in doubt is the one that is made again with the same arguments in the same turn, and no other; one that
// somebody waits for is not, and what came of it while nobody did is told then.
func TestTickets(t *testing.T) {
	var w waiting
	one, other := hashOf(1, []byte("one")), hashOf(1, []byte("other"))
	if hashOf(2, []byte("one")) == one || one == other || hashOf(1, []byte("one")) != one {
		t.Error("calls are not told apart by turn and arguments")
	}
	take := func(hash [sha256.Size]byte, again bool) *ticket {
		c, was := w.take(hash)
		if was != again {
			t.Errorf("call %d is said to be made again: %t", c.call, was)
		}
		return c
	}
	a, b := take(one, false), take(one, false)
	if a == b || a.call == b.call {
		t.Error("two who call at once have one call")
	}
	w.give(a, false)
	if c := take(other, false); c == a {
		t.Error("another call is taken for the one in doubt")
	}
	w.settle(a.call, outcome{position: 7})
	w.settle(a.call, outcome{position: 8}) // as when it came twice
	w.settle(1000, outcome{})              // which is nobody's
	if c := take(one, true); c != a || c.position != 7 {
		t.Errorf("made again it is call %d, with %+v", c.call, c.outcome)
	}
	w.give(a, true)
	if c := take(one, false); c == a {
		t.Error("a call that was answered is taken for one that is made again")
	}
	for i := range 2 * mostDoubtful {
		w.give(take(hashOf(3, fmt.Append(nil, i)), false), false)
	}
	if n := len(w.calls); n > mostDoubtful+1 {
		t.Errorf("%d calls are in doubt", n)
	}
	w.give(take(other, false), false)
	for i := range 2 * mostDoubtful { // and one of them is made again and again
		w.give(take(other, true), false)
		w.give(take(hashOf(4, fmt.Append(nil, i)), false), false)
	}
}
