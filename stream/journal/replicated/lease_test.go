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

// held are the leases of two machines, of which the first one has it.
func held(t *testing.T) (c *natstest.Cluster, a, b *Lease) {
	t.Helper()
	c = natstest.Serve(t, 1)
	a, b = lease(t, c, "a"), lease(t, c, "b")
	if err := a.Take(t.Context(), able); err != nil {
		t.Fatal(err)
	}
	return c, a, b
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
	c, a, b := held(t)
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

// Servers that are gone for longer than a lease lasts, and come back, leave it with the
// machine that has it, which could not say so meanwhile; when that is gone as well the other
// takes it.
func TestServersThatComeBackMoveNoLease(t *testing.T) {
	t.Parallel()
	c, a, b := held(t)
	keeping, stop := context.WithCancel(t.Context())
	kept, taken := make(chan error, 1), make(chan error, 1)
	go func() { kept <- a.Keep(keeping, nil) }()
	go func() { taken <- b.Take(t.Context(), able) }()
	for range 2 {
		c.Stop(0)
		time.Sleep(leaseFor + time.Second) // it has run out
		c.Start(0)
		time.Sleep(steadyFor + time.Second)
		select {
		case err := <-kept:
			t.Fatalf("who had it lost it: %v", err)
		case err := <-taken:
			t.Fatalf("it was taken from who had it: %v", err)
		default:
		}
	}
	c.Stop(0)
	stop() // which nobody hears of
	<-kept
	c.Start(0)
	if err := <-taken; err != nil {
		t.Fatal(err)
	}
}

// A lease is held until work has returned, and not only while its context lasts; work ends
// when another machine has the lease, with the reason.
func TestALeaseIsHeldForLongerThanTheWork(t *testing.T) {
	t.Parallel()
	_, a, b := held(t)
	ctx, stop := context.WithCancel(t.Context())
	taken := make(chan error, 1)
	failed := errors.New("the last is not written")
	err := a.Hold(ctx, func(ctx context.Context) error {
		stop()
		<-ctx.Done()
		go func() { taken <- b.Take(t.Context(), able) }()
		select {
		case err := <-taken:
			t.Errorf("it was taken while the last is written: %v", err)
		case <-time.After(leaseFor + time.Second):
		}
		return failed
	})
	if !errors.Is(err, failed) || errors.Is(err, ErrLost) {
		t.Errorf("work that failed: %v", err)
	}
	if err := <-taken; err != nil {
		t.Fatal(err)
	}
	err = b.Hold(t.Context(), func(ctx context.Context) error {
		if err := b.kv.Purge(ctx, leaseKey); err != nil {
			t.Error(err)
		}
		if !a.create(ctx) {
			t.Error("a lease that nobody has cannot be taken")
		}
		<-ctx.Done()
		return nil
	})
	if !errors.Is(err, ErrLost) {
		t.Errorf("work whose lease another machine took: %v", err)
	}
}
