// Package raced, for tests only, says whether the race detector watches.
//
// With it everything takes five to ten times as long. So what needs no detector, because
// nothing runs beside anything else, or because it runs against a clock, is left to a run
// without one; the Makefile has both, and a test in cmd/internal/archtest sees to it that
// nothing is left out of the two.
package raced

import "testing"

// Skip leaves a test to the run without the race detector, and says why.
func Skip(t testing.TB, why string) {
	t.Helper()
	if Watched {
		t.Skip(why + ": told without the race detector, as make test does")
	}
}
