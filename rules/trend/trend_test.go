package trend_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"

	"weald/ingest/near"
	"weald/ingest/sample"
	"weald/rules/trend"
)

// Made by SciPy 1.10.1: a line of -0.31 with noise of 0.8 on an uneven clock,
// and two readings far off; scipy.stats.theilslopes(ys, xs).
var (
	xs = []float64{
		1.75, 4.045, 6.096, 7.046, 8.147, 10.394, 10.904, 13.047, 15.141, 16.577, 17.683, 18.74,
		19.749, 21.14, 22.649, 24.256, 26.747, 28.832, 30.576, 33.054, 33.985, 34.805, 36.53, 37.118,
	}
	ys = []float64{
		39.58, 38.6, 36.1, 37.38, 37.44, 96.87, 35.4, 35.57, 34.52, 34.21, 35.37, 33.54,
		33.85, 34.15, 32.51, 32.39, 31.8, -3.89, 29.54, 29.81, 30.55, 27.97, 29.36, 28.59,
	}
)

const scipySlope = -0.3020435526834849

func TestSlopeOfPairs(t *testing.T) {
	near.To(t, "slope", trend.TheilSen(xs, ys), scipySlope, 1e-12)
	if !math.IsNaN(trend.TheilSen(xs[:1], ys[:1])) || !math.IsNaN(trend.TheilSen([]float64{1, 1}, []float64{2, 3})) {
		t.Error("one instant has a slope")
	}
}

// A window with a reading a slot is the same as the pairs themselves.
func TestSlopeOfAWindow(t *testing.T) {
	w := trend.NewWindow(40*time.Second, 80) // no two readings in one half second
	for i := range xs {
		w.Add(sample.Instant(xs[i]*1e9), ys[i])
	}
	if !math.IsNaN(w.Slope()) {
		t.Error("24 of 80 slots are enough for a slope")
	}
	w = trend.NewWindow(40*time.Second, 40)
	for i := range xs {
		w.Add(sample.Instant(xs[i]*1e9), ys[i])
	}
	near.To(t, "slope per s", w.Slope(), scipySlope, 2e-2) // some slots have two readings
	line := trend.NewWindow(40*time.Second, 40)
	for i := range xs {
		line.Add(sample.Instant(xs[i]*1e9), 7-0.25*xs[i])
	}
	near.To(t, "slope of a line", line.Slope(), -0.25, 1e-9)
}

// A window knows nothing of what is older than it, whatever it was.
func TestAWindowForgets(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 12).Draw(t, "slots")
		span := time.Duration(n) * time.Second
		old, fresh := trend.NewWindow(span, n), trend.NewWindow(span, n)
		at := sample.Instant(rapid.Int64Range(-1e12, 1e12).Draw(t, "start"))
		for range rapid.IntRange(0, 30).Draw(t, "before") {
			at = at.Add(time.Duration(rapid.IntRange(0, 3000).Draw(t, "step")) * time.Millisecond)
			old.Add(at, rapid.Float64Range(-100, 100).Draw(t, "v"))
		}
		at = at.Add(span)
		var all []float64
		for i := range n {
			v := rapid.OneOf(rapid.Float64Range(-100, 100), rapid.Just(math.NaN())).Draw(t, "v")
			now := at.Add(time.Duration(i) * time.Second)
			old.Add(now, v)
			fresh.Add(now, v)
			if v == v {
				all = append(all, v)
			}
		}
		same := func(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) }
		if a, b := old.Slope(), fresh.Slope(); !same(a, b) {
			t.Fatalf("slope %v, without the past %v", a, b)
		}
		if a, b := old.Median(1), slowMedian(all); !same(a, b) && math.Abs(a-b) > 1e-9 {
			t.Fatalf("median %v, want %v", a, b)
		}
		if known, _ := old.Known(); known != len(all) {
			t.Fatalf("%d slots known, want %d", known, len(all))
		}
	})
}

// slowMedian goes by gonum's empirical quantiles.
func slowMedian(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	v = slices.Clone(v)
	slices.Sort(v)
	lower := stat.Quantile(0.5, stat.Empirical, v, nil)
	for i := range v {
		v[i] = -v[i]
	}
	slices.Sort(v)
	return (lower - stat.Quantile(0.5, stat.Empirical, v, nil)) / 2
}

// NIST/SEMATECH e-Handbook 6.3.2.4: lambda 0.3 from 50.
func TestEWMA(t *testing.T) {
	v := 50.0
	want := []float64{50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99}
	for i, x := range []float64{52, 47, 53, 49.3, 50.1, 47, 51, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1} {
		v = trend.EWMA(v, 0.3, x)
		near.To(t, "average", v, want[i], 0.0051)
	}
}

func TestNothingAllocates(t *testing.T) {
	w, at := trend.NewWindow(time.Minute, 30), sample.Instant(0)
	if got := testing.AllocsPerRun(500, func() {
		at = at.Add(100 * time.Millisecond)
		if w.Add(at, float64(at%7)) {
			w.Slope()
			w.Median(1)
		}
	}); got != 0 {
		t.Errorf("%v allocations a reading", got)
	}
}

func BenchmarkSlope(b *testing.B) {
	w := trend.NewWindow(30*time.Second, 30)
	for i := range 300 {
		w.Add(sample.Instant(i*1e8), math.Sin(float64(i)))
	}
	for b.Loop() {
		w.Slope()
	}
}
