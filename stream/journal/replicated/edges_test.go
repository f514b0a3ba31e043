package replicated

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// A mortal gives nothing back once it is dead.
type mortal struct {
	*bucket
	dead atomic.Bool
}

func (m *mortal) Delete(ctx context.Context, key string, options ...jetstream.KVDeleteOpt) error {
	if m.dead.Load() {
		return errNoMajority
	}
	return m.bucket.Delete(ctx, key, options...)
}

// Machines work by turns while answers are lost, servers are slow or without a majority, and
// machines end their work or are killed: nobody is told that it lost what it has, and when all is well
// somebody has the lease within the time that is promised, and a moment later nobody else works.
func TestLeasesInTrouble(t *testing.T) {
	for seed := range uint64(12) {
		synctest.Test(t, func(t *testing.T) {
			chance, losses := rand.New(rand.NewPCG(seed, 7)), rand.New(rand.NewPCG(seed, 8))
			b := &bucket{lost: func() bool { return losses.IntN(12) == 0 }} // under its lock
			ctx, stop := context.WithCancel(t.Context())
			var machines sync.WaitGroup
			var mu sync.Mutex
			working := map[string]bool{}
			for i, name := range []string{"a", "b", "c"} {
				chance := rand.New(rand.NewPCG(seed, uint64(i)))
				machines.Go(func() {
					for ctx.Err() == nil {
						l, m := b.of(name), &mortal{bucket: b}
						l.kv = m
						if l.Take(ctx, able) != nil {
							return
						}
						lasting, killed := time.Duration(chance.IntN(40))*time.Second, chance.IntN(3) == 0
						work, done := context.WithTimeout(ctx, lasting)
						err := l.Hold(work, func(ctx context.Context) error {
							mu.Lock()
							working[name] = true
							mu.Unlock()
							<-ctx.Done()
							m.dead.Store(killed)
							return nil
						})
						done()
						mu.Lock()
						delete(working, name)
						mu.Unlock()
						if holder := b.holds(); errors.Is(err, ErrLost) && holder == name {
							t.Errorf("seed %d: %s is told that it lost what it has", seed, name)
						}
					}
				})
			}
			for range 20 {
				b.set(func(b *bucket) {
					b.gone, b.slow = chance.IntN(3) == 0, time.Duration(chance.IntN(3))*300*time.Millisecond
				})
				time.Sleep(time.Duration(chance.IntN(9000)) * time.Millisecond)
			}
			b.set(func(b *bucket) { b.gone, b.slow, b.lost = false, 0, nil })
			well := time.Now()
			for range 60 {
				free := time.Now()
				for b.holds() == "" {
					time.Sleep(100 * time.Millisecond)
					if waited := time.Since(free); waited > steadyFor+leaseFor+2*tryEvery {
						t.Fatalf("seed %d: all is well, and nobody has it for %v", seed, waited)
					}
				}
				time.Sleep(time.Second)
				mu.Lock()
				if n := len(working); n > 1 && time.Since(well) > renewEvery+2*renewWithin {
					t.Errorf("seed %d: all is well, and %v work", seed, working)
				}
				mu.Unlock()
			}
			stop()
			machines.Wait()
		})
	}
}

// Nobody takes a lease that ran out while there was no majority, for however long that was, to the
// nanosecond, before who has it could say so; when that one is gone it is taken as soon as others
// have had answers for long enough.
func TestALostMajorityMovesNoLease(t *testing.T) {
	for _, lasting := range []time.Duration{
		renewEvery, leaseFor - renewEvery, leaseFor - time.Nanosecond, leaseFor, leaseFor + time.Nanosecond, leaseFor + renewEvery, time.Minute, time.Hour,
	} {
		for _, dies := range []bool{false, true} {
			t.Run(fmt.Sprint(lasting, dies), func(t *testing.T) {
				synctest.Test(t, func(t *testing.T) {
					b := &bucket{}
					a, other := b.of("a"), b.of("b")
					if err := a.Take(t.Context(), able); err != nil {
						t.Fatal(err)
					}
					keeping, die := context.WithCancel(t.Context())
					defer die()
					kept, taken := make(chan error, 1), make(chan error, 1)
					go func() { kept <- a.Keep(keeping, nil) }()
					go func() { taken <- other.Take(t.Context(), able) }()
					time.Sleep(10*time.Second + 300*time.Millisecond)
					b.set(func(b *bucket) { b.gone = true })
					if dies {
						die()
					}
					time.Sleep(lasting)
					b.set(func(b *bucket) { b.gone = false })
					back := time.Now()
					if !dies {
						time.Sleep(time.Minute)
						if holder := b.holds(); len(kept)+len(taken) > 0 || holder != "a" {
							t.Fatalf("after %v without a majority %q has it", lasting, holder)
						}
						die()
						back = time.Now()
					}
					if err := <-taken; err != nil || b.holds() != "b" {
						t.Fatalf("when it is gone %q has it: %v", b.holds(), err)
					}
					if took := time.Since(back); took > leaseFor+steadyFor+2*tryEvery {
						t.Errorf("after %v it was taken %v after the holder was gone", lasting, took)
					}
				})
			})
		}
	}
}

// A lease is another's from the very instant at which it runs out, and not before; who had it and comes back then, with
// whatever it had under way, takes nothing back and gives nothing away that is the other's.
func TestTheInstantAtWhichALeaseRunsOut(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := &bucket{}
		a, other := b.of("a"), b.of("b")
		if !a.try(t.Context()) {
			t.Fatal("what is free cannot be taken")
		}
		time.Sleep(leaseFor - time.Nanosecond)
		if other.try(t.Context()) {
			t.Fatal("it is taken a nanosecond too early")
		}
		if h := other.Holder(); h == nil || h.Machine != "a" {
			t.Errorf("it is held by %+v", h)
		}
		time.Sleep(time.Nanosecond)
		if !other.try(t.Context()) {
			t.Fatal("it is not taken when it has run out")
		}
		a.GiveBack()
		if holder := b.holds(); holder != "b" {
			t.Errorf("who comes back has given away what is another's: %q has it", holder)
		}
		a = b.of("a")
		a.have, a.rev = true, 1
		if err := a.Keep(t.Context(), nil); !errors.Is(err, ErrLost) || a.Holder() == nil || a.Holder().Machine != "b" {
			t.Errorf("who comes back is told %v, and that %+v has it", err, a.Holder())
		}
		// Who comes back before anybody has taken it goes on with it.
		time.Sleep(leaseFor)
		if err := other.renew(t.Context(), []byte(`{"machine":"b"}`)); err != nil || b.holds() != "b" {
			t.Errorf("what ran out and nobody took is lost to who comes back: %v", err)
		}
		b.set(func(b *bucket) { b.value = []byte("of no machine"); b.rev++ })
		if other.look(t.Context()); !other.free.IsZero() {
			t.Error("what somebody has is free, as it cannot be read who")
		}
	})
}

// Losing loses every fifth answer to who keeps a lease.
type losing struct {
	*bucket
	n int
}

func (l *losing) Update(ctx context.Context, key string, value []byte, of uint64) (uint64, error) {
	rev, err := l.bucket.Update(ctx, key, value, of)
	if l.n++; l.n%5 == 0 {
		<-ctx.Done()
		return 0, ctx.Err()
	}
	return rev, err
}

// An answer that is lost on the way takes the lease from nobody, not even for a moment: what was
// noted is found, and said anew at once.
func TestALostAnswerTakesNoLease(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := &bucket{}
		a := b.of("a")
		a.kv = &losing{bucket: b}
		if !a.try(t.Context()) {
			t.Fatal("what is free cannot be taken")
		}
		keeping, stop := context.WithCancel(t.Context())
		kept := make(chan error, 1)
		go func() { kept <- a.Keep(keeping, nil) }()
		for began := time.Now(); time.Since(began) < time.Minute; time.Sleep(50 * time.Millisecond) {
			if holder := b.holds(); len(kept) > 0 || holder != "a" {
				t.Fatalf("after %v %q has it", time.Since(began), holder)
			}
		}
		stop()
		<-kept
	})
}
