package rules_test

import (
	"strings"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules"
)

// A trend is said in the unit that it is asked in, with what was measured, its direction
// and the span that it was taken over.
func TestTrendsAreSaidAsTheyAreAsked(t *testing.T) {
	for per, want := range map[time.Duration]string{
		time.Second:      "ankle rising faster than 0.05 mmHg/s: +0.1 mmHg/s over 1 min, now",
		time.Minute:      "ankle rising faster than 3 mmHg/min: +6 mmHg/min over 1 min, now",
		time.Hour:        "ankle rising faster than 180 mmHg/h: +360 mmHg/h over 1 min, now",
		10 * time.Minute: "ankle rising faster than 30 mmHg in 10 min: +60 mmHg in 10 min over 1 min, now",
	} {
		rate := &rules.Rate{Watch: "ankle.pressure", Rise: 0.05 * per.Seconds(), Fall: 1000, Per: per, Window: time.Minute}
		s := newStory(t, leg(rules.Rule{Rate: rate}))
		s.play(0, 40*time.Second, 2, func(t float64) (float64, float64) { return 20 + t/10, 30 })
		s.says(t, want)
		if p := s.Progress(0, nil)[0]; !strings.Contains(p.Asks, " or falling faster than 1000 mmHg") {
			t.Errorf("it asks %q", p.Asks)
		}
	}
}

// Of every fault of a mat the sentence says how many cells have it, in the order in which
// faults are looked for, and each cell is counted once.
func TestFaultsOfAMatAreCounted(t *testing.T) {
	rule := faulty(rules.Faults...)
	rule.OnDelay, rule.Quality.Share = 0, 0
	s := newStory(t, wall(rule))
	x := sample.Scan{Rail: 4095, U: repeat(1, 12), Shared: repeat(0, 12), Extrapolated: make([]bool, 12), Expired: make([]bool, 12)}
	for i := range 12 {
		raw, v := 400.0, 40.0
		switch i {
		case 0, 1:
			v = sample.Unknown // delivered, and no calibration
		case 2:
			raw, v = 4095, sample.Unknown
		case 3, 4, 5:
			raw, v = sample.Unknown, sample.Unknown
		case 6:
			x.Expired[i], x.Extrapolated[i] = true, true // said once, as the first of both
		case 7:
			x.Extrapolated[i] = true
		}
		x.Raw, x.Values = append(x.Raw, raw), append(x.Values, v)
	}
	s.Scan(&x)
	s.says(t, "mat with a faulty channel: 8 of 12 cells: 2 not calibrated, 1 at the end of what they can read, 3 without a value, 1 past the date of their calibration, 1 extrapolated when raised")
}

// While a rule cannot be judged though readings come, it says what it waits for; nothing
// that waits is told as lost.
func TestWhatARuleWaitsFor(t *testing.T) {
	for _, c := range []struct {
		rule rules.Rule
		says string
	}{
		{rules.Rule{Rate: &rules.Rate{Watch: "ankle.pressure", Rise: 1, Per: time.Second, Window: 10 * time.Minute}}, "less than half of the window of 10 min has been seen"},
		{rules.Rule{Drift: &rules.Drift{Site: "ankle", By: 1, Settle: time.Hour}}, "wrapped for 4.5 s of the 1 h that it takes to settle"},
		{rules.Rule{Swing: &rules.Swing{Site: "ankle", Limit: rules.Limit{Above: ptr(1)}}}, "not walking"},
		{rules.Rule{Formula: "ankle.swing > 3"}, "ankle.swing is not known"},
		{rules.Rule{Formula: "ankle.pressure / (calf.pressure - calf.pressure) > 3"}, "its answer is not a number"},
	} {
		s := newStory(t, leg(c.rule))
		s.play(0, 5*time.Second, 2, level(40, 28))
		p := s.Progress(0, nil)[0]
		if p.Waits != c.says || p.Condition != sample.Maybe || p.Unknown || p.Due != sample.Never {
			t.Errorf("%+v: it waits for %q, want %q; %+v", c.rule, p.Waits, c.says, p)
		}
		s.Tick(at(time.Minute))
		s.expect(t)
	}
}
