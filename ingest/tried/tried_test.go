package tried_test

import (
	"flag"
	"fmt"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/tried"
)

// A listener hears what a test is told, in place of the test.
type listener struct {
	testing.TB
	said []string
}

func (*listener) Helper() {}

func (l *listener) Errorf(format string, args ...any) {
	l.said = append(l.said, fmt.Sprintf(format, args...))
}

// There is always one round, there are as many as it takes until it is enough and none
// after that; what is never enough comes to an end after twenty, which is complained of, with
// what was seen.
func TestUntilItIsEnough(t *testing.T) {
	for need, want := range map[int]int{0: 1, 1: 1, 2: 2, 19: 19, 20: 20, 21: 20, 1000: 20} {
		rounds, l := 0, &listener{TB: t}
		tried.Until(l, tried.Count(&rounds, need), func() { rounds++ })
		if rounds != want {
			t.Errorf("%d rounds where %d are enough, want %d", rounds, need, want)
		}
		if short := need > 20; short != (len(l.said) == 1) || short && !strings.Contains(l.said[0], "20") {
			t.Errorf("where %d rounds are enough, and there were %d, it says %q", need, rounds, l.said)
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
	tried.Check(t, func() (any, bool) {
		if rounds++; rounds == 1 {
			one = len(drawn)
		}
		return rounds, rounds == 3
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
		if _, got := tried.Each(seen, c.times, c.keys...)(); got != c.want {
			t.Errorf("each of %q %d times in %v: %v", c.keys, c.times, seen, got)
		}
	}
}

// What counts is the number as it is when it is asked, and of several all are needed.
func TestAllOfTheNumbers(t *testing.T) {
	raised, lasted := 0, time.Duration(0)
	all := tried.All(tried.Count(&raised, 2), tried.Count(&lasted, time.Second))
	for _, c := range []struct {
		raised int
		lasted time.Duration
		want   bool
	}{{0, 0, false}, {2, 0, false}, {1, time.Second, false}, {2, time.Second, true}, {3, time.Minute, true}} {
		raised, lasted = c.raised, c.lasted
		if seen, got := all(); got != c.want || fmt.Sprint(seen) != fmt.Sprint([]any{raised, lasted}) {
			t.Errorf("of %d and %v: %v, seen %v", raised, lasted, got, seen)
		}
	}
}
