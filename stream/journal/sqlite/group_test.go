package sqlite

import (
	"context"
	"errors"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// Every request is committed once, alone or with others, never two batches at a
// time, and whoever made it returns after that with its own error.
func TestGroup(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var g group
		var busy atomic.Int32
		var mu sync.Mutex
		done := map[*request]int{}
		refused := errors.New("refused")
		bad := map[*request]bool{}
		largest := 0
		commit := func(batch []*request) {
			if busy.Add(1) != 1 {
				t.Error("two batches at a time")
			}
			mu.Lock()
			for _, r := range batch {
				done[r]++
				if bad[r] {
					r.err = refused
				}
			}
			largest = max(largest, len(batch))
			mu.Unlock()
			busy.Add(-1)
		}
		n := rapid.IntRange(1, 60).Draw(rt, "requests")
		var wg sync.WaitGroup
		for i := range n {
			r := &request{}
			hasty := rapid.IntRange(0, 9).Draw(rt, "hasty") == 0
			mu.Lock()
			bad[r] = i%5 == 0
			mu.Unlock()
			wg.Go(func() {
				ctx, stop := context.WithCancel(t.Context())
				defer stop()
				if hasty {
					go stop()
				}
				err := g.submit(ctx, r, commit)
				mu.Lock()
				defer mu.Unlock()
				switch {
				case errors.Is(err, context.Canceled):
					if done[r] != 0 || !hasty {
						t.Errorf("it gave up, and was committed %d times", done[r])
					}
				case done[r] != 1 || (err != nil) != bad[r]:
					t.Errorf("committed %d times, error %v, bad %v", done[r], err, bad[r])
				}
			})
		}
		wg.Wait()
		if g.busy || len(g.waiting) > 0 {
			rt.Fatalf("busy %v and %d waiting when all have gone", g.busy, len(g.waiting))
		}
	})
}

// While one commits, those who come wait, and then go together.
func TestGroupShares(t *testing.T) {
	var g group
	var sizes []int
	begun, hold := make(chan struct{}), make(chan struct{})
	commit := func(batch []*request) {
		if sizes = append(sizes, len(batch)); len(sizes) == 1 {
			close(begun)
			<-hold
		}
	}
	var wg sync.WaitGroup
	submit := func() {
		wg.Go(func() {
			if err := g.submit(t.Context(), &request{}, commit); err != nil {
				t.Error(err)
			}
		})
	}
	submit()
	<-begun
	for range most + 3 {
		submit()
	}
	for waiting := 0; waiting < most+3; time.Sleep(time.Millisecond) {
		g.mu.Lock()
		waiting = len(g.waiting)
		g.mu.Unlock()
	}
	close(hold)
	wg.Wait()
	if len(sizes) != 3 || sizes[0] != 1 || sizes[1] != most || sizes[2] != 3 {
		t.Errorf("batches of %v, want 1, %d and 3", sizes, most)
	}
}

// Who comes with a context that has ended does not come at all.
func TestGroupRefusesTheLate(t *testing.T) {
	var g group
	ctx, stop := context.WithCancelCause(t.Context())
	late := errors.New("late")
	stop(late)
	err := g.submit(ctx, &request{}, func([]*request) { t.Error("it was committed") })
	if !errors.Is(err, late) {
		t.Errorf("error %v, want %v", err, late)
	}
}
