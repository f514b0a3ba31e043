// Package near, for tests only, says whether a number is as near to another as it has to be.
package near

import (
	"math"

	"pgregory.net/rapid"
)

// To complains unless got, which is of what, is within that much of want. Not a number is
// near to nothing.
func To(t rapid.TB, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s = %v, want %v within %v", what, got, want, within)
	}
}
