package replicated

import (
	"context"
	"errors"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/journal/replicated/natstest"
)

// Whoever has no room is relieved by a machine that says that it could take over and has all
// that is in the log: not while there is room, not by one that could not, and not by one that
// is behind.
func TestRelief(t *testing.T) {
	t.Parallel()
	c := natstest.Serve(t, 1)
	o := Options{Name: "ward", Replicas: 1}
	full, other, third := open(t, t.TempDir(), c.Connect(), o), open(t, t.TempDir(), c.Connect(), o), open(t, t.TempDir(), c.Connect(), o)
	var may atomic.Bool
	var asked atomic.Int64
	withdraw, err := other.Offer(c.Connect(), "weald-b", func() bool { asked.Add(1); return may.Load() })
	if err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	go func() { ended <- full.Relieve(ctx, c.Connect()) }()
	goesOn := func(what string, asks int64) {
		t.Helper()
		was := asked.Load()
		c.Eventually("nobody asks", func() bool { return asked.Load() >= was+asks })
		select {
		case err := <-ended:
			t.Fatalf("it is relieved %s: %v", what, err)
		default:
		}
	}
	began := time.Now()
	holding := make(chan struct{})
	go func() { // what comes from others finds room here, and says so
		defer close(holding)
		for ctx.Err() == nil {
			full.calls.hold(journal.ErrFull)
			time.Sleep(time.Millisecond)
		}
	}()
	goesOn("by one that could not take over", 2)
	if after := time.Since(began); after < fullFor {
		t.Errorf("it asked after %v", after)
	}
	other.calls.mu.Lock() // so that it takes nothing in
	behind := func() { other.calls.mu.Unlock() }
	defer func() {
		if behind != nil {
			behind()
		}
	}()
	if _, err := third.Append(t.Context(), journaltest.Mark("one")); err != nil {
		t.Fatal(err)
	}
	may.Store(true)
	goesOn("by one that is behind", 3)
	behind()
	behind = nil
	select {
	case err := <-ended:
		if !errors.Is(err, ErrRelieved) || !strings.Contains(err.Error(), "weald-b") {
			t.Errorf("it ended with %v", err)
		}
	case <-time.After(time.Minute):
		t.Error("it is not relieved")
	}
	stop()
	<-holding
	full.calls.hold(nil)
	was := asked.Load()
	defer withdraw()
	if err := full.Relieve(within(t, fullFor+2*relieveWithin), c.Connect()); !errors.Is(err, context.DeadlineExceeded) || asked.Load() != was {
		t.Errorf("with room: %v, and %d asked", err, asked.Load()-was)
	}
}

func within(t *testing.T, d time.Duration) context.Context {
	ctx, stop := context.WithTimeout(t.Context(), d)
	t.Cleanup(stop)
	return ctx
}
