package garbage

import (
	"runtime/debug"
	"testing"
)

// What is held in MB, and how much garbage may be beside it, in %: 12 MB of it, but
// never less than 6 % nor more than as much again.
func TestShare(t *testing.T) {
	for held, want := range map[uint64]int{0: 100, 3: 100, 12: 100, 24: 50, 100: 12, 200: 6, 4000: 6} {
		if got := shareOf(held << 20); got != want {
			t.Errorf("beside %d MB: %d %%, want %d %%", held, got, want)
		}
	}
}

// What is held and the garbage that may be there never reach the limit, beyond nineteen
// parts in twenty of which the language gives back what is free.
func TestLimitLeavesRoom(t *testing.T) {
	for _, h := range []held{{}, {live: 1 << 20, beside: 8 << 20}, {live: 100 << 20, beside: 10 << 20}, {live: 4 << 30, beside: 100 << 20}} {
		needed := float64(h.live+h.beside) + float64(h.live)*float64(shareOf(h.live))/100
		if limit := float64(h.limit()); limit*19/20 < needed || limit > needed*20/19+headroom+2*slack {
			t.Errorf("of %+v: the limit is %.0f, and %.0f are needed", h, limit, needed)
		}
	}
}

// Whoever ends it has what was before.
func TestBoundPutsBack(t *testing.T) {
	percent, limit := debug.SetGCPercent(73), debug.SetMemoryLimit(5<<30)
	defer debug.SetGCPercent(percent)
	defer debug.SetMemoryLimit(limit)
	Bound()()
	if got := debug.SetGCPercent(73); got != 73 {
		t.Errorf("garbage is collected at %d %%, and was at 73 %%", got)
	}
	if got := debug.SetMemoryLimit(-1); got != 5<<30 {
		t.Errorf("the limit is %d bytes, and was %d", got, 5<<30)
	}
}
