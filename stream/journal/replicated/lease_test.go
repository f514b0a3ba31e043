package replicated

import (
	"context"
	"errors"
	"sync/atomic"
	"testing"
	"time"

	"weald/stream/journal/replicated/natstest"
)

func lease(t *testing.T, c *natstest.Cluster, machine string) *Lease {
	t.Helper()
	l, err := NewLease(t.Context(), c.Connect(), Options{Name: "ward", Replicas: c.Len()}, Holder{Machine: machine, Pages: "https://" + machine}, nil)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func able() bool { return true }

// Who could not do the work leaves the lease to others, and sees who has it; once it can,
// and nobody else does, it takes it.
func TestLeaseIsLeftByWhoIsNotAble(t *testing.T) {
	t.Parallel()
	c := natstest.Serve(t, 1)
	a, b := lease(t, c, "a"), lease(t, c, "b")
	var fit atomic.Bool
	taken := make(chan error, 1)
	go func() { taken <- a.Take(t.Context(), fit.Load) }()
	if err := b.Take(t.Context(), able); err != nil { // which was free for it
		t.Fatal(err)
	}
	c.Eventually("it does not see who has it", func() bool { h := a.Holder(); return h != nil && h.Machine == "b" })
	fit.Store(true)
	b.GiveBack()
	if err := <-taken; err != nil {
		t.Fatal(err)
	}
}

// One machine has the lease; another gets it at once when it is given back, and when its
// holder says nothing any more; who had it learns that.
func TestLease(t *testing.T) {
	t.Parallel()
	c := natstest.Serve(t, 1)
	a, b := lease(t, c, "a"), lease(t, c, "b")
	if err := a.Take(t.Context(), able); err != nil {
		t.Fatal(err)
	}
	keeping, stop := context.WithCancelCause(t.Context())
	kept := make(chan error, 1)
	go func() { kept <- a.Keep(keeping, nil) }()
	taken := make(chan error, 1)
	go func() { taken <- b.Take(t.Context(), able) }()
	c.Eventually("the other does not see who has it", func() bool { h := b.Holder(); return h != nil && h.Machine == "a" })
	select {
	case err := <-taken:
		t.Fatalf("both have it: %v", err)
	case <-time.After(leaseFor + time.Second):
	}
	ended := errors.New("the daemon ends")
	stop(ended)
	if err := <-kept; !errors.Is(err, ended) {
		t.Error(err)
	}
	if err := <-taken; err != nil {
		t.Fatal(err)
	}
	// b says nothing any more, as if it had been killed.
	if err := a.Take(t.Context(), able); err != nil {
		t.Fatal(err)
	}
	if err := b.Keep(t.Context(), nil); !errors.Is(err, ErrLost) {
		t.Errorf("who was silent for too long: %v", err)
	}
	if h := b.Holder(); h == nil || h.Machine != "a" {
		t.Errorf("it was taken by %v", h)
	}
}
