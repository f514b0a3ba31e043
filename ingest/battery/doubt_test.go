package battery

import (
	"math"
	"strings"
	"testing"
	"time"

	"weald/ingest/sample"
)

// One wild figure, up or down, changes next to nothing.
func TestWildFigures(t *testing.T) {
	for _, wild := range []float64{0, 100} {
		r := newRig(t, 0)
		r.run(4*time.Hour, falls(80.5, 5))
		e := r.wants("it falls", Falling)
		r.run(time.Minute, func(float64) float64 { return wild })
		r.run(10*time.Minute, falls(60.4, 5))
		if after := r.wants("after one wild figure", Falling); (after.Left-e.Left).Abs() > 45*time.Minute || after.Fresh != sample.Past {
			t.Errorf("a figure of %v moved %v to %v: %+v", wild, e.Left, after.Left, after)
		}
	}
}

// Warmth is no charger, and cold no consumption.
func TestTemperature(t *testing.T) {
	r := newRig(t, 0)
	r.warm(4*time.Hour, 21, falls(80.5, 5))
	r.near("in the warm", 60.5/5, 0.1)
	r.warm(2*time.Hour, 2, falls(52.5, 5)) // 8 % less for the cold
	e := r.wants("in the cold", Falling)
	if got := e.Left.Hours(); math.Abs(got-42.5/5) > 2 {
		t.Errorf("in the cold %.1f h left, want about %.1f, by what was measured in the cold", got, 42.5/5)
	}
	r.warm(30*time.Minute, 21, falls(50.5, 5)) // warm again: 8 % more
	e = r.wants("warm again", Falling)
	if e.Fresh != sample.Past {
		t.Errorf("%+v, want warmth not taken for a charger", e)
	}
	if got := e.Left.Hours(); math.Abs(got-48/5.) > 1.5 {
		t.Errorf("warm again: %.1f h left, want about %.1f", got, 48/5.)
	}
}

func TestOrder(t *testing.T) {
	r := newRig(t, 0)
	r.run(4*time.Hour, falls(80.5, 5))
	before := r.trend.Estimate(r.at)
	r.trend.Status(r.at, -1, 3, 21)
	r.trend.Status(r.at-1e9, -1, 3, 21)
	if after := r.trend.Estimate(r.at); after != before {
		t.Errorf("statuses that were not in order made %+v of %+v", after, before)
	}
}

// What a gauge of whole steps hides widens the bounds: three steps in an hour
// may be a little over two, or nearly four.
func TestHiddenSteps(t *testing.T) {
	r := newRig(t, 0)
	r.run(65*time.Minute, func(h float64) float64 { return 80 - math.Floor(3*h) })
	e := r.wants("three steps in 65 minutes", Falling)
	slow, fast := 77/(2.1/65*60), 77/(3.9/65*60)
	if e.Least.Hours() > fast || e.Most.Hours() < slow {
		t.Errorf("%.1f to %.1f h, want %.1f to %.1f within them", e.Least.Hours(), e.Most.Hours(), fast, slow)
	}
	if got := e.words(); !strings.Contains(got, " to ") && !strings.HasPrefix(got, "at least") {
		t.Errorf("%q, want a range", got)
	}
}

// Where statuses are rare, two high ones are not a charger yet, and a level
// counts for longer.
func TestRareStatuses(t *testing.T) {
	r := newRig(t, 0)
	r.every = 2 * time.Hour
	for _, level := range []float64{50, 50, 50, 54, 54, 50, 50, 50} {
		r.run(r.every, func(float64) float64 { return level })
		if e := r.wants("two high ones", Measuring); e.Fresh != sample.Past {
			t.Errorf("%+v, want no charger", e)
		}
	}
	if e := r.trend.Estimate(r.at.Add(7 * time.Hour)); e.State != Measuring {
		t.Errorf("7 h after the last of statuses every 2 h: %v", e.State)
	}
	if e := r.trend.Estimate(r.at.Add(9 * time.Hour)); e.State != Unknown {
		t.Errorf("9 h after it: %v", e.State)
	}
}

// A host that sets its clock loses nothing of the trend.
func TestStep(t *testing.T) {
	for _, by := range []time.Duration{-time.Hour, 26 * time.Hour} {
		r := newRig(t, 0)
		r.run(4*time.Hour, falls(80.5, 5))
		before := r.trend.Estimate(r.at)
		r.trend.Step(by)
		r.at = r.at.Add(by)
		after := r.trend.Estimate(r.at)
		if after.Left != before.Left || after.Most != before.Most || after.At != before.At.Add(by) || after.Fresh != sample.Past {
			t.Errorf("stepped by %v: %+v, want the same as %+v", by, after, before)
		}
		r.run(2*time.Hour, falls(60.5, 5))
		r.near("two hours on", 50.5/5, 0.05)
	}
	r := newRig(t, 0)
	r.trend.Step(time.Hour)
	r.wants("nothing known", Unknown)
}
