package tried_test

import (
	"flag"
	"testing"

	"pgregory.net/rapid"

	"weald/ingest/tried"
)

// There is always one round, there are as many as it takes until it is enough and none
// after that, and what is never enough comes to an end after twenty.
func TestUntilItIsEnough(t *testing.T) {
	for need, want := range map[int]int{0: 1, 1: 1, 2: 2, 19: 19, 20: 20, 21: 20, 1000: 20} {
		rounds := 0
		tried.Until(func() bool { return rounds >= need }, func() { rounds++ })
		if rounds != want {
			t.Errorf("%d rounds where %d are enough, want %d", rounds, need, want)
		}
	}
}

// What one round of checks cannot see is seen by several: their cases add up, and each
// round draws anew, unless somebody asks for a seed. (That two rounds of numbers of 64 bits
// are all among those of another one does not happen: most of them are long.)
func TestRoundsOfChecksAddUp(t *testing.T) {
	if seed := flag.Lookup("rapid.seed"); seed.Value.String() != seed.DefValue {
		t.Skip("all rounds have the same seed")
	}
	rounds, drawn := 0, map[uint64]bool{}
	one := 0 // how many different numbers the first round drew
	tried.Check(t, func() bool {
		if rounds++; rounds == 1 {
			one = len(drawn)
		}
		return rounds == 3
	}, func(t *rapid.T) { drawn[rapid.Uint64().Draw(t, "anything")] = true })
	if rounds != 3 || len(drawn) <= one {
		t.Errorf("%d rounds; the first drew %d numbers, all of them %d", rounds, one, len(drawn))
	}
}

// Each of the keys has to have been counted often enough, and one that never was is not.
func TestEachOfTheKeys(t *testing.T) {
	seen := map[string]int{"raised": 5, "cleared": 3}
	for _, c := range []struct {
		times int
		keys  []string
		want  bool
	}{
		{3, []string{"raised", "cleared"}, true}, {4, []string{"raised", "cleared"}, false}, {4, []string{"raised"}, true},
		{1, []string{"raised", "shelved"}, false}, {0, []string{"shelved"}, true}, {9, nil, true},
	} {
		if got := tried.Each(seen, c.times, c.keys...); got != c.want {
			t.Errorf("each of %q %d times in %v: %v", c.keys, c.times, seen, got)
		}
	}
}
