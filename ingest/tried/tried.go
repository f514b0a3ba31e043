// Package tried, for tests only, tries on until enough was seen.
//
// A test of randomly drawn cases counts what it has seen, and complains when that is too
// little to prove anything: draws that have become tame are a mistake. But a round of
// draws may see too little by bad luck alone, and a test must fail for a mistake, never
// for luck. So the same expression that the complaint rests on decides whether there is
// another round. One round is enough nearly always, so this costs nothing; and if one in
// a hundred is not, twenty in a row are so once in 10^40 times. Draws that are tame stay
// so however often they are tried. What was seen adds up from round to round.
package tried

import (
	"testing"

	"pgregory.net/rapid"
)

// most is how many rounds there are before the test may complain.
const most = 20

// Until has a round of draws, and another one for as long as enough says no, most of them
// in all. Whether it was enough in the end, and what to say if not, is left to the test.
func Until(enough func() bool, round func()) {
	for range most {
		if round(); enough() {
			return
		}
	}
}

// Check is rapid.Check in as many rounds as are needed. It stops at the first property
// that does not hold, as rapid.Check does.
func Check(t *testing.T, enough func() bool, prop func(*rapid.T)) {
	t.Helper()
	Until(enough, func() {
		t.Helper()
		rapid.Check(t, prop)
	})
}

// Each is whether each of these keys was counted so often at least.
func Each[K comparable](seen map[K]int, times int, keys ...K) bool {
	for _, key := range keys {
		if seen[key] < times {
			return false
		}
	}
	return true
}
