package ahead

import (
	"iter"
	"testing"

	"pgregory.net/rapid"
)

// counting yields 0 to n-1 in memory that it uses again as early as it may, and
// notes how far it got.
func counting(n int, got *int) iter.Seq2[int, *int] {
	return func(yield func(int, *int) bool) {
		var ring [Most]int
		for i := range n {
			*got = i + 1
			ring[i%Most] = i
			if !yield(i, &ring[i%Most]) {
				return
			}
		}
	}
}

// All comes, once and in order, however many are taken; nothing runs on when the
// taking has ended, and no more than Most were read before they were asked for.
func TestTheSameInOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 5*Most).Draw(t, "n")
		wanted := rapid.IntRange(1, 6*Most).Draw(t, "wanted")
		read, next := 0, 0
		for k, v := range Of(counting(n, &read)) {
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
		if read > next+Most {
			t.Fatalf("%d were read, and %d taken", read, next)
		}
	})
}
