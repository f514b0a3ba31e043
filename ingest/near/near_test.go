package near_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"weald/ingest/near"
)

// A deaf test counts its complaints.
type deaf struct {
	rapid.TB
	complaints int
}

func (*deaf) Helper()                 {}
func (d *deaf) Errorf(string, ...any) { d.complaints++ }

// What is as far away as it may be is near, and what is not a number never is.
func TestNearTo(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, c := range []struct {
		got, want, within float64
		near              bool
	}{
		{2, 2, 0, true}, {2.5, 2, 0.5, true}, {1.5, 2, 0.5, true}, {2.75, 2, 0.5, false}, {1.25, 2, 0.5, false},
		{nan, 2, 1, false}, {2, nan, 1, false}, {nan, nan, 1, false}, {inf, 2, 1, false}, {-2, 2, 1, false},
	} {
		d := &deaf{TB: t}
		if near.To(d, "it", c.got, c.want, c.within); (d.complaints == 0) != c.near {
			t.Errorf("%v is near to %v within %v: %v", c.got, c.want, c.within, !c.near)
		}
	}
}
