package trend_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/rules/trend"
)

func near(t testing.TB, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s = %v, want %v within %v", what, got, want, within)
	}
}

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
	near(t, "slope", trend.TheilSen(xs, ys), scipySlope, 1e-12)
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
	near(t, "slope per s", w.Slope(), scipySlope, 2e-2) // some slots have two readings
	line := trend.NewWindow(40*time.Second, 40)
	for i := range xs {
		line.Add(sample.Instant(xs[i]*1e9), 7-0.25*xs[i])
	}
	near(t, "slope of a line", line.Slope(), -0.25, 1e-9)
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

// Coefficients from published tables and by SciPy 1.10.1, scipy.signal.butter(2,
// 2*ratio).
func TestButterworth(t *testing.T) {
	for ratio, want := range map[float64][4]float64{
		0.05: {0.0200833655642112, 0.0401667311284225, -1.5610180758007182, 0.6413515380575631},
		0.1:  {0.0674552738890719, 0.1349105477781438, -1.1429805025399011, 0.4128015980961886},
		0.2:  {0.2065720838261479, 0.4131441676522958, -0.3695273773512414, 0.1958157126558331},
		0.25: {0.2928932188134525, 0.5857864376269050, 0, 0.1715728752538099},
	} {
		f := trend.NewButterworth(ratio)
		for i, got := range []float64{f.B[0], f.B[1], f.A[0], f.A[1]} {
			near(t, "coefficient", got, want[i], 1e-12)
		}
		near(t, "last coefficient", f.B[2], want[0], 1e-12)
	}
	// The step response from rest, reckoned apart from this program.
	f, most := trend.NewButterworth(0.1), 0.0
	for _, want := range []float64{
		0.067455274, 0.279465885, 0.561399508, 0.796125823, 0.948030775, 1.024759775,
		1.049752919, 1.046645742, 1.032777089, 1.018208137, 1.007281111, 1.000805820,
	} {
		got := f.Next(1)
		near(t, "step", got, want, 1e-9)
		most = max(most, got)
	}
	near(t, "overshoot", most, 1.04975, 1e-5)
	// A short recording by scipy.signal.lfilter(*butter(2, 0.16), x).
	f = trend.NewButterworth(0.08)
	want := []float64{1.845272083733, 7.994244622508, 17.154976265576, 27.121423301002, 37.213531648434, 45.320645978531, 49.202524305248, 49.367431647608, 47.673857282935, 45.517164828054}
	for i, x := range []float64{40, 41, 43, 60, 58, 41, 39, 40, 40, 42} {
		near(t, "filtered", f.Next(x), want[i], 1e-9)
	}
	f.Settle(37)
	near(t, "settled", f.Next(37), 37, 1e-9)
}

// NIST/SEMATECH e-Handbook 6.3.2.4: lambda 0.3 from 50.
func TestEWMA(t *testing.T) {
	v := 50.0
	want := []float64{50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99}
	for i, x := range []float64{52, 47, 53, 49.3, 50.1, 47, 51, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1} {
		v = trend.EWMA(v, 0.3, x)
		near(t, "average", v, want[i], 0.0051)
	}
}

func TestSmootherOnAnUnevenClock(t *testing.T) {
	for tau, want := range map[time.Duration]float64{time.Second: 0.0951626, 5 * time.Second: 0.0198013, time.Minute: 0.00166528} {
		s := trend.Smoother{Tau: tau}
		near(t, "weight of 0.1 s", s.Weight(100*time.Millisecond), want, 5e-8)
	}
	// However a constant is sampled, the way to it is the same.
	even, uneven := trend.Smoother{Tau: time.Second}, trend.Smoother{Tau: time.Second}
	even.Next(0, 0)
	uneven.Next(0, 0)
	for i := 1; i <= 10; i++ {
		even.Next(sample.Instant(i*200e6), 1)
	}
	for _, ms := range []int64{90, 180, 310, 400, 1500, 1501, 2000} {
		uneven.Next(sample.Instant(ms*1e6), 1)
		uneven.Next(sample.Instant(ms*1e6), math.NaN())
	}
	a, b := even.Next(2e9, 1), uneven.Next(2e9, 1)
	near(t, "after 2 s", a, 1-math.Exp(-2), 1e-12)
	near(t, "the same, unevenly", b, a, 1e-12)
	if s := (trend.Smoother{Tau: time.Second}); !math.IsNaN(s.Next(0, math.NaN())) {
		t.Error("a smoother of nothing has a value")
	}
}

func TestIntegral(t *testing.T) {
	at := []sample.Instant{0, 10e9, 20e9, 30e9}
	got, known := trend.Integral(at, []float64{0, 40, 40, 0})
	near(t, "integral", got, 800, 1e-9)
	if known != 30*time.Second {
		t.Errorf("known %v", known)
	}
	got, known = trend.Integral(at, []float64{0, 40, math.NaN(), 0})
	if got != 200 || known != 10*time.Second {
		t.Errorf("with a hole: %v over %v, want 200 over 10 s", got, known)
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
