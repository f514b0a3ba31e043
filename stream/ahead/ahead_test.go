package ahead

import (
	"iter"
	"testing"

	"pgregory.net/rapid"
)

// counting yields 0 to n-1 in memory that it uses again as early as it may, and
// notes how far it got.
func counting(n, most int, got *int) iter.Seq2[int, *int] {
	return func(yield func(int, *int) bool) {
		ring := make([]int, most)
		for i := range n {
			*got = i + 1
			ring[i%most] = i
			if !yield(i, &ring[i%most]) {
				return
			}
		}
	}
}

// All comes, once and in order, however many are taken; nothing runs on when the
// taking has ended, and no more than Most of a batch were read before they were asked for.
func TestTheSameInOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		batch := rapid.SampledFrom([]int{1, few, 100}).Draw(t, "batch")
		most := Most(batch)
		n := rapid.IntRange(0, 5*most).Draw(t, "n")
		wanted := rapid.IntRange(1, 6*most).Draw(t, "wanted")
		read, next := 0, 0
		seq := Of[int, *int]
		if batch != few {
			seq = func(s iter.Seq2[int, *int]) iter.Seq2[int, *int] { return In(batch, s) }
		}
		for k, v := range seq(counting(n, most, &read)) {
			if k != next || *v != next {
				t.Fatalf("%d and %d came, want %d", k, *v, next)
			}
			if next++; next == wanted {
				break
			}
		}
		if want := min(n, wanted); next != want {
			t.Fatalf("%d came of %d, want %d", next, n, want)
		}
		if read > next+most {
			t.Fatalf("%d were read, and %d taken", read, next)
		}
	})
}
