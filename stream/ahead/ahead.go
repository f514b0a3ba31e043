// Package ahead reads sequences a little ahead of who takes from them, on a
// goroutine of its own: to read and decode a recording takes about as long as to
// judge it, and most machines can do two things at a time. What is taken is the
// same, in the same order.
package ahead

import (
	"iter"
	"sync"
)

const (
	few     = 8 // so that handing over costs little
	batches = 3 // one is filled, one waits, one is taken from
)

// Most is how many pairs are on their way at a time that go in such batches, the one that
// is looked at among them. A sequence may use what a pair points to again for the one that
// comes so many later.
func Most(batch int) int { return batch * batches }

type pair[K, V any] struct {
	k K
	v V
}

// Of yields what seq yields. It asks for some pairs beforehand, and for all of them on
// another goroutine, which ends before the iteration does. It waits for a batch of them,
// so it is not for what is still being made.
func Of[K, V any](seq iter.Seq2[K, V]) iter.Seq2[K, V] { return In(few, seq) }

// In is Of with batches of so many pairs, > 0: what takes less than handing it over goes
// in larger ones.
func In[K, V any](batch int, seq iter.Seq2[K, V]) iter.Seq2[K, V] {
	return func(yield func(K, V) bool) {
		full, free := make(chan []pair[K, V], 1), make(chan []pair[K, V], batches)
		for range batches {
			free <- make([]pair[K, V], 0, batch)
		}
		enough := make(chan struct{})
		var reader sync.WaitGroup
		defer reader.Wait()
		defer close(enough)
		reader.Go(func() {
			defer close(full)
			read(seq, full, free, enough)
		})
		for b := range full {
			for _, p := range b {
				if !yield(p.k, p.v) {
					return
				}
			}
			clear(b) // holds on to nothing
			free <- b[:0]
		}
	}
}

// read puts what seq yields into full, in batches taken from free, until there is
// enough.
func read[K, V any](seq iter.Seq2[K, V], full chan<- []pair[K, V], free <-chan []pair[K, V], enough <-chan struct{}) {
	b := <-free
	give := func() bool {
		select {
		case full <- b:
		case <-enough:
			return false
		}
		select {
		case b = <-free:
			return true
		case <-enough:
			return false
		}
	}
	for k, v := range seq {
		if b = append(b, pair[K, V]{k, v}); len(b) == cap(b) && !give() {
			return
		}
	}
	if len(b) > 0 {
		give()
	}
}
