package backlog_test

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"
	"weak"

	"weald/stream/journal"
	"weald/stream/journal/backlog"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// A mute log answers nothing before the time for that is over.
type mute struct{ asked int }

func (m *mute) Append(ctx context.Context, _ ...record.Entry) (record.Position, error) {
	m.asked++
	<-ctx.Done()
	return 0, context.Cause(ctx)
}

// Nobody waits for longer than Within: the first call does, for servers that say nothing, those
// behind it not at all, and who hands over what waits has an answer after the time for one call,
// however many wait.
func TestNobodyWaitsForLong(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := &mute{}
		q := &backlog.Queue{Log: m, Within: 10 * time.Second}
		for i := range 20 {
			began, want := time.Now(), time.Duration(0)
			if i == 0 {
				want = q.Within
			}
			if _, err := q.Append(context.Background(), journaltest.Mark(fmt.Sprint(i))); !errors.Is(err, journal.ErrLater) || time.Since(began) != want {
				t.Errorf("call %d is answered after %v with %v", i, time.Since(began), err)
			}
		}
		for i := range 3 {
			began := time.Now()
			if err := q.Drain(context.Background(), nil); !errors.Is(err, journal.ErrUnreached) || time.Since(began) != q.Within || m.asked != i+2 {
				t.Errorf("after %v and %d calls it says %v", time.Since(began), m.asked, err)
			}
		}
	})
}

// A fickle log is out of reach now and then, and may have kept a call then.
type fickle struct {
	*journaltest.Memory
	mu    sync.Mutex
	doubt map[string]bool // whether each call in doubt is kept
	calm  bool
}

func (f *fickle) Append(ctx context.Context, entries ...record.Entry) (p record.Position, err error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	id := text(entries)
	has := f.doubt[id]
	says := f.calm || rand.IntN(3) > 0
	if !has && (says || rand.IntN(2) == 0) {
		if p, err = f.Memory.Append(ctx, entries...); err != nil {
			return 0, err
		}
		has = true
	}
	if says {
		delete(f.doubt, id)
		return p, nil
	}
	f.doubt[id] = has
	return 0, journal.ErrUnreached
}

// What each of several goroutines gives is in the log once and in the order in which it gave it,
// while another one hands over what waits.
func TestManyGive(t *testing.T) {
	f := &fickle{Memory: new(journaltest.Memory), doubt: map[string]bool{}}
	q := &backlog.Queue{Log: f}
	var givers, drains sync.WaitGroup
	const who, many = 4, 50
	for w := range who {
		givers.Go(func() {
			for i := range many {
				if _, err := q.Append(t.Context(), journaltest.Mark(fmt.Sprintf("%d %02d", w, i))); err != nil && !errors.Is(err, journal.ErrLater) {
					t.Error(err)
				}
			}
		})
	}
	stop := make(chan struct{})
	drains.Go(func() {
		for {
			select {
			case <-stop:
				return
			default:
				_ = q.Drain(t.Context(), func(err error) { t.Error(err) })
				runtime.Gosched()
			}
		}
	})
	givers.Wait()
	close(stop)
	drains.Wait()
	f.calm = true
	if err := q.Drain(t.Context(), nil); err != nil {
		t.Fatal(err)
	}
	of := map[string][]string{}
	for _, e := range journaltest.Gather(t, f.Entries(t.Context(), journal.Query{})) {
		s := e.Body.(record.Mark).Text
		of[s[:1]] = append(of[s[:1]], s)
	}
	for w, all := range of {
		if len(all) != many || !slices.IsSorted(all) || len(slices.Compact(all)) != many {
			t.Errorf("of %s the log has %q", w, all)
		}
	}
	if len(of) != who {
		t.Errorf("the log has calls of %d", len(of))
	}
}

// What was handed over is not held any more, with or without calls behind it: after an hour without
// servers that is much.
func TestNothingIsHeldOfWhatWasHandedOver(t *testing.T) {
	first := true
	q := &backlog.Queue{Log: logFunc(func() error {
		if first {
			first = false
			return nil
		}
		return journal.ErrUnreached
	})}
	body := make([]byte, 1<<10)
	held := weak.Make(&body[0])
	q.Push(record.Entry{Ord: 1, Body: record.State{Body: body}})
	body = nil
	q.Push(journaltest.Mark("behind it"))
	if err := q.Drain(t.Context(), nil); !errors.Is(err, journal.ErrUnreached) {
		t.Fatal(err)
	}
	runtime.GC()
	if held.Value() != nil {
		t.Error("it is held")
	}
	runtime.KeepAlive(q)
}

type logFunc func() error

func (f logFunc) Append(context.Context, ...record.Entry) (record.Position, error) { return 0, f() }
