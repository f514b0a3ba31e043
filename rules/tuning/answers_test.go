package tuning_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/rules/tuning"
)

func in(state alert.State, what alert.Change, at time.Duration, subject string) alert.Event {
	e := event(what, at, subject)
	e.State = state
	return e
}

// The times to acknowledge, and their quantiles as Python's
// statistics.quantiles(x, n=10, method="inclusive") gives them for these ten.
func TestTimeToAcknowledge(t *testing.T) {
	var events []alert.Event
	for i, s := range []int{900, 12, 45, 60, 90, 125, 180, 299, 301, 420} {
		events = append(events, in(alert.Unacknowledged, alert.Raised, 0, fmt.Sprint(i)),
			in(alert.Acknowledged, alert.WasAcknowledged, time.Duration(s)*time.Second, fmt.Sprint(i)))
	}
	f := tuning.Compute(events, 1, 0, sample.Instant(time.Hour))
	if f.Answered != 10 || f.AckSoon != 0.7 || f.AckMedian != 152.5 || math.Abs(f.AckNinety-468) > 1e-9 {
		t.Errorf("%+v, want a share of 0.7, a median of 152.5 s and a 90th percentile of 468 s", f)
	}
}

func TestWhoWaitsForWhom(t *testing.T) {
	const min = time.Minute
	for name, c := range map[string]struct {
		events   []alert.Event
		answered int
		share    float64
	}{
		"nobody was called": {nil, 0, math.NaN()},
		"acknowledged after 5 min": {[]alert.Event{
			in(alert.Unacknowledged, alert.Raised, 0, "a"), in(alert.Acknowledged, alert.WasAcknowledged, 5*min, "a")}, 1, 1},
		"and a nanosecond": {[]alert.Event{
			in(alert.Unacknowledged, alert.Raised, 0, "a"), in(alert.Acknowledged, alert.WasAcknowledged, 5*min+1, "a")}, 1, 0},
		"never":                {[]alert.Event{in(alert.Unacknowledged, alert.Raised, 0, "a")}, 0, 0},
		"undecided at the end": {[]alert.Event{in(alert.Unacknowledged, alert.Raised, 56*min, "a")}, 0, math.NaN()},
		"it waits since its first raise": {[]alert.Event{
			in(alert.Unacknowledged, alert.Raised, 0, "a"), in(alert.Returned, alert.Cleared, min, "a"),
			in(alert.Unacknowledged, alert.Raised, 8*min, "a"), in(alert.Acknowledged, alert.WasAcknowledged, 9*min, "a")}, 1, 0},
		"put aside instead": {[]alert.Event{
			in(alert.Unacknowledged, alert.Raised, 0, "a"), in(alert.Shelved, alert.WasShelved, min, "a")}, 0, 0},
		"raised on a shelf": {[]alert.Event{in(alert.Shelved, alert.Raised, 0, "a")}, 0, math.NaN()},
	} {
		f := tuning.Compute(c.events, 1, 0, sample.Instant(time.Hour))
		if f.Answered != c.answered || f.AckSoon != c.share && !(math.IsNaN(f.AckSoon) && math.IsNaN(c.share)) {
			t.Errorf("%s: %d answered, share %v, want %d and %v", name, f.Answered, f.AckSoon, c.answered, c.share)
		}
	}
}

// A flood is more than 10 in 10 min, and ends below 5 in 10 min (ISA-18.2, by a
// page that quotes it): it begins with the eleventh, five left are still a flood,
// four are not.
func TestFloods(t *testing.T) {
	var events []alert.Event
	raise := func(at time.Duration) {
		events = append(events, event(alert.Raised, at, fmt.Sprint(len(events))))
	}
	for i := range 10 {
		raise(time.Duration(i) * time.Minute)
	}
	if f := tuning.Compute(events, 1, 0, sample.Instant(time.Hour)); f.Floods != 0 || f.FloodShare != 0 {
		t.Errorf("ten in ten minutes: %+v", f)
	}
	raise(9*time.Minute + 30*time.Second) // the eleventh
	// After it the raises leave the ten minutes one by one, that of minute 5 at
	// 15 min and that of minute 6 at 16 min: 7, 8, 9 and the eleventh are left.
	f := tuning.Compute(events, 1, 0, sample.Instant(time.Hour))
	if want := 6.5 / 60; f.Floods != 1 || math.Abs(f.FloodShare-want) > 1e-12 {
		t.Errorf("%d floods, %v of the time, want one, %v", f.Floods, f.FloodShare, want)
	}
	raise(15*time.Minute + 59*time.Second) // a fifth is left at 16 min, a fourth at 17 min
	if f, want := tuning.Compute(events, 1, 0, sample.Instant(time.Hour)), 7.5/60; math.Abs(f.FloodShare-want) > 1e-12 {
		t.Errorf("%v of the time, want %v", f.FloodShare, want)
	}
	if f, want := tuning.Compute(events, 1, 0, sample.Instant(12*time.Minute)), 2.5/12; math.Abs(f.FloodShare-want) > 1e-12 {
		t.Errorf("a flood that lasts: %v of the time, want %v", f.FloodShare, want)
	}
}

// Three raises in a minute are many by ISA-18.2 (OPC 10000-9 and pages that quote
// the standard): 0, 20, 40 s are, and 0, 31, 62 s are not.
func TestThreeInAMinute(t *testing.T) {
	for _, c := range []struct {
		at   [3]int
		want int
	}{{[3]int{0, 20, 40}, 1}, {[3]int{0, 31, 62}, 0}, {[3]int{0, 30, 60}, 1}} {
		var events []alert.Event
		for _, s := range c.at {
			events = append(events, event(alert.Raised, time.Duration(s)*time.Second, "a"))
		}
		if f := tuning.Compute(events, 1, 0, sample.Instant(time.Hour)); len(f.InAMinute) != c.want || len(f.Chattering) != 0 {
			t.Errorf("at %v: %+v", c.at, f)
		}
	}
}

// An alert stands for too long after 24 h and not before; one that was raised
// before the span counts for that, and for nothing else.
func TestStandingSinceBefore(t *testing.T) {
	day := 24 * time.Hour
	for _, c := range []struct {
		to   time.Duration
		want int
	}{{day, 0}, {day + time.Second, 1}} {
		f := tuning.Compute([]alert.Event{event(alert.Raised, 0, "a")}, 1, sample.Instant(time.Hour), sample.Instant(c.to))
		if f.StandingLong != c.want || f.Raised != 0 || f.Standing != 1 || f.PerPlaceHour != 0 {
			t.Errorf("until %v: %+v, want %d", c.to, f, c.want)
		}
	}
}
