package emulate

import (
	"math"
	"slices"
	"testing"
	"time"
)

// A loop says what its stream said, over and over, from wherever it begins.
func TestALoopIsItsStream(t *testing.T) {
	source := func() *Failing {
		return &Failing{Sampled: leg(3, 1, tight).(*Sampled), First: 1, End: 2, Loose: 0, Losing: time.Hour, Silent: 500 * time.Millisecond}
	}
	var want [][]float64
	var s Scan
	for f := source(); f.Next(&s) == nil; {
		want = append(want, slices.Clone(s.Values))
	}
	loop, err := NewLoop(source(), 100*time.Millisecond, 100)
	if err != nil || len(want) != 5 || !math.IsNaN(want[0][1]) {
		t.Fatalf("%v, of %v", err, want)
	}
	played := loop.Play(7, 3)
	for n := range 12 {
		if n == 6 { // it is held up, and says so
			played.SkipTo(time.Second)
			n = 10
		}
		if err := played.Next(&s); err != nil {
			t.Fatal(err)
		}
		same := func(a, b float64) bool { return math.Float64bits(a) == math.Float64bits(b) || a != a && b != b }
		if s.Source != 7 || !slices.EqualFunc(s.Values, want[(n+3)%5], same) {
			t.Fatalf("scan %d of source %d is %v, want %v", n, s.Source, s.Values, want[(n+3)%5])
		}
		if n == 10 {
			if s.At != time.Second || s.Lost != 4 {
				t.Fatalf("after four that were skipped: at %v, %d lost", s.At, s.Lost)
			}
			break
		}
	}
}
