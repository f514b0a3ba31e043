package limb_test

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/near"
	"weald/ingest/sample"
	"weald/rules/limb"
	"weald/rules/state"
)

// strode is what a finder tells at the end of a minute of a walk that is a sine of
// the given swing, frequency and phase (in turns), at so many scans a second.
func strode(swing, hertz, rate, phase float64) (limb.Walk, bool) {
	s := limb.NewStrides(2)
	var at sample.Instant
	for i := range int(60 * rate) {
		t := float64(i) / rate
		at = sample.Instant(math.Round(t * 1e9))
		s.Add(at, 40+swing/2*math.Sin(2*math.Pi*(hertz*t+phase)))
	}
	return s.Walk(at)
}

// What scans catch of the swing of a sine is at least cos(π f/fs) of it, where the
// scans lie as badly as they can, and never more than all of it. The bound is
// geometry: no scan is farther than half a scan from the top. Strides of 96 to 138
// steps a minute (laboratory range of women: Sports Med review, 10.2165/11599170).
func TestWhatScansCatchOfASwing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		hertz := rapid.Float64Range(0.8, 1.15).Draw(t, "hertz")
		rate := rapid.SampledFrom([]float64{12.2, 20, 25, 50}).Draw(t, "rate")
		swing, phase := rapid.Float64Range(6, 60).Draw(t, "swing"), rapid.Float64Range(0, 1).Draw(t, "phase")
		w, ok := strode(swing, hertz, rate, phase)
		if !ok || !w.Told() || w.Strides < 3 {
			t.Fatalf("no walk: %+v", w)
		}
		if math.Abs(w.Rate-rate) > 0.01*rate || math.Abs(w.Hertz-hertz) > 0.04*hertz {
			t.Fatalf("%v strides a second at %v scans are taken for %v at %v", hertz, rate, w.Hertz, w.Rate)
		}
		if w.Resolved() != !math.IsNaN(w.Swing) {
			t.Fatalf("%+v: the rate carries it, or does not", w)
		}
		if !w.Resolved() {
			if rate > 10.5*hertz {
				t.Fatalf("%v scans a second carry %v strides: %+v", rate, hertz, w)
			}
			return
		}
		if least := swing * math.Cos(math.Pi*hertz/rate); w.Swing < least-1e-6 || w.Swing > swing+1e-9 {
			t.Fatalf("a swing of %v is taken for %v, want at least %v", swing, w.Swing, least)
		}
	})
}

// Scans that keep in step with the strides lie badly all along: ten a stride, with the
// top half-way between two, catch cos 18° of the swing, 0.951; with one at the top and
// one at the bottom, all of it.
func TestScansInStepWithTheStrides(t *testing.T) {
	for _, c := range []struct{ rate, phase, want float64 }{
		{10, 0, math.Cos(math.Pi / 10)}, // the top is at a quarter: half-way from scan 2 to scan 3
		{10, 0.05, 1},
		{20, 0, 1},
		{20, 0.025, math.Cos(math.Pi / 20)},
		{50, 0, math.Cos(math.Pi / 50)},
	} {
		w, ok := strode(20, 1, c.rate, c.phase)
		if !ok {
			t.Errorf("%v scans a stride: no walk", c.rate)
			continue
		}
		near.To(t, "share of the swing", w.Swing/20, c.want, 1e-6)
		near.To(t, "strides a second", w.Hertz, 1, 1e-9)
		near.To(t, "scans a second", w.Rate, c.rate, 1e-6)
	}
}

// Under ten scans a stride no swing is told, at ten it is: 5 % of it are missed at
// most from 9.89 on, and 10 is the floor.
func TestTenScansAStride(t *testing.T) {
	for _, c := range []struct {
		hertz, rate float64
		told        bool
	}{{1, 10, true}, {1, 9, false}, {1, 8, false}, {0.8, 8, true}, {1.25, 12.5, true}, {1.25, 12, false}} {
		w, ok := strode(20, c.hertz, c.rate, 0.05)
		if !ok || math.IsNaN(w.Swing) == c.told {
			t.Errorf("%v strides at %v scans a second: %t, %+v", c.hertz, c.rate, ok, w)
		}
	}
}

// Less than three strides, swings that are too small, strides that are too slow or
// too fast for anybody, and a walk that is over, are no walk.
func TestWhatIsNoWalk(t *testing.T) {
	for _, c := range []struct {
		name         string
		swing, hertz float64
	}{
		{"a swing of 1.9 mmHg", 1.9, 1}, {"one every 2.6 s", 20, 1 / 2.6}, {"two a second", 20, 2}, {"nothing moves", 0, 1},
	} {
		if w, ok := strode(c.swing, c.hertz, 25, 0); ok {
			t.Errorf("%s is a walk: %+v", c.name, w)
		}
	}
	for _, c := range []struct {
		name         string
		swing, hertz float64
	}{{"a swing of 4 mmHg", 4, 1}, {"one every 2.4 s", 20, 1 / 2.4}, {"1.7 a second", 20, 1.7}} {
		if _, ok := strode(c.swing, c.hertz, 25, 0); !ok {
			t.Errorf("%s is no walk", c.name)
		}
	}
	s := limb.NewStrides(2)
	for i := range 1000 {
		at := sample.Instant(time.Duration(i) * 40 * time.Millisecond)
		s.Add(at, 40+10*math.Sin(2*math.Pi*float64(i)/25))
	}
	last := sample.Instant(999 * 40 * time.Millisecond)
	if _, ok := s.Walk(last); !ok {
		t.Error("40 strides are no walk")
	}
	if w, ok := s.Walk(last.Add(3 * time.Second)); ok {
		t.Errorf("three seconds after the last stride: %+v", w)
	}
}

// Where the readings lie, how large a swing is and what unit it has do not matter:
// twice the swing on another level is twice the amplitude, at the same strides.
func TestStridesOfAnyUnit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const rate = 25
		hertz, by := rapid.Float64Range(0.8, 1.15).Draw(t, "hertz"), rapid.SampledFrom([]float64{2, 4, 64}).Draw(t, "by")
		one, other := limb.NewStrides(2), limb.NewStrides(2*by)
		silent := rapid.IntRange(0, 9).Draw(t, "silent")
		var at sample.Instant
		for i := range 30 * rate {
			v := 16 * math.Sin(2*math.Pi*hertz*float64(i)/rate)
			at = sample.Instant(time.Duration(i) * time.Second / rate)
			one.Add(at, v)
			other.Add(at, by*v)
			if i%10 == silent { // what is missing is no reading
				one.Add(at.Add(time.Millisecond), math.NaN())
			}
		}
		a, ok := one.Walk(at)
		b, also := other.Walk(at)
		if !ok || !also || a.Strides != b.Strides || a.Hertz != b.Hertz || a.Rate != b.Rate || math.Abs(b.Swing-by*a.Swing) > 1e-9*b.Swing {
			t.Fatalf("%+v and, %v times as large, %+v", a, by, b)
		}
	})
}

// State that is written and read after any reading goes on with the same bits.
func TestStridesGoOnAfterARestart(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		one, other := limb.NewStrides(2), limb.NewStrides(2)
		at := sample.Instant(0)
		cut := rapid.IntRange(0, 300).Draw(t, "cut")
		hertz := rapid.Float64Range(0.5, 1.6).Draw(t, "hertz")
		for i := range 400 {
			at = at.Add(time.Duration(rapid.SampledFrom([]int{40, 50, 60, 2600}).Filter(func(ms int) bool { return ms < 100 || i%97 == 0 }).Draw(t, "step")) * time.Millisecond)
			v := 40 + 8*math.Sin(2*math.Pi*hertz*float64(at)/1e9)
			one.Add(at, v)
			other.Add(at, v)
			if i == cut {
				fresh := limb.NewStrides(2)
				if rest, err := state.Read(state.Append(nil, other), fresh); err != nil || len(rest) != 0 {
					t.Fatalf("%v, %d bytes left", err, len(rest))
				}
				other = fresh
			}
			a, ok := one.Walk(at)
			b, also := other.Walk(at)
			if ok != also || a.Strides != b.Strides || a.Hertz != b.Hertz || math.Float64bits(a.Swing) != math.Float64bits(b.Swing) {
				t.Fatalf("reading %d, cut after %d: %+v and %+v", i, cut, a, b)
			}
		}
	})
}
