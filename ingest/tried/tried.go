// Package tried, for tests only, tries on until enough was seen.
//
// A test of randomly drawn cases counts what it has seen, and complains when that is too
// little to prove anything: draws that have become tame are a mistake. But a round of
// draws may see too little by bad luck alone, and a test must fail for a mistake, never
// for luck. So what the complaint rests on decides whether there is another round. One
// round is enough nearly always, so this costs nothing; and if one in a hundred is not,
// twenty in a row are so once in 10^40 times. Draws that are tame stay so however often
// they are tried. What was seen adds up from round to round.
package tried

import (
	"cmp"
	"testing"

	"pgregory.net/rapid"
)

// most is how many rounds there are before it is complained.
const most = 20

// An Enough is what was seen, and whether that is enough.
type Enough func() (seen any, enough bool)

// Until has a round of draws, and another one for as long as it is not enough, most of them
// in all. It is an error of the test if that was not enough in the end.
func Until(t testing.TB, enough Enough, round func()) {
	t.Helper()
	for range most {
		round()
		if _, ok := enough(); ok {
			return
		}
	}
	seen, _ := enough()
	t.Errorf("seen: %v: too tame to prove anything", seen)
}

// Check is rapid.Check in as many rounds as are needed. It stops at the first property
// that does not hold, as rapid.Check does.
func Check(t *testing.T, enough Enough, prop func(*rapid.T)) {
	t.Helper()
	Until(t, enough, func() {
		t.Helper()
		rapid.Check(t, prop)
	})
}

// Count is enough when n has come to least.
func Count[N cmp.Ordered](n *N, least N) Enough {
	return func() (any, bool) { return *n, *n >= least }
}

// Each is enough when each of these keys was counted so often at least.
func Each[K comparable](seen map[K]int, times int, keys ...K) Enough {
	return func() (any, bool) {
		for _, key := range keys {
			if seen[key] < times {
				return seen, false
			}
		}
		return seen, true
	}
}

// All is enough when each of them is.
func All(of ...Enough) Enough {
	return func() (any, bool) {
		seen, enough := make([]any, len(of)), true
		for i, one := range of {
			var ok bool
			seen[i], ok = one()
			enough = enough && ok
		}
		return seen, enough
	}
}
