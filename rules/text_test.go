package rules_test

import (
	"math"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules"
)

func TestQuantities(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		v, u  float64
		unit  string
		limit float64
		want  string
	}{
		{41.2, 1.8, "mmHg", nan, "41 ± 2 mmHg"},
		{41.26, 0.3, "mmHg", nan, "41.3 ± 0.3 mmHg"},
		{41.26, 0.004, "mmHg", nan, "41.3 ± 0.1 mmHg"},
		{41.26, 12, "mmHg", nan, "41 ± 12 mmHg"},
		{7.4, nan, "mmHg", nan, "7 mmHg"},
		{-0.2, nan, "mmHg", nan, "0 mmHg"},
		{60.04, nan, "mmHg", 60, "60.04 mmHg"},
		{60.04, 1.8, "mmHg", 60, "60.04 ± 1.80 mmHg"},
		{60.00001, nan, "mmHg", 60, "60.000 mmHg"}, // there is an end to it
		{60, nan, "mmHg", 60, "60 mmHg"},
		{4.6, nan, "mmHg", 5, "4.6 mmHg"},
		{0.42, nan, "cm2", nan, "0.4 cm²"},
		{142.4, nan, "cm2", nan, "142 cm²"},
		{0.5, nan, "1", nan, "0.5"},
	} {
		if got := rules.Quantity(c.v, c.u, c.unit, c.limit); got != c.want {
			t.Errorf("%v ± %v %s beside %v is written %q, want %q", c.v, c.u, c.unit, c.limit, got, c.want)
		}
	}
}

func TestLimitsAreWrittenWithoutExponents(t *testing.T) {
	low, high, band := 0.0000001, 1e21, [2]float64{0.00001, 2.5}
	for want, l := range map[string]rules.Limit{
		"below 0.0000001 mmHg":              {Below: &low},
		"above 1000000000000000000000 mmHg": {Above: &high},
		"outside 0.00001 to 2.5 mmHg":       {Outside: &band},
	} {
		if got := l.Words("mmHg"); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
	if got := (&rules.Limit{Above: &band[1]}).Words("cm2"); got != "above 2.5 cm²" {
		t.Errorf("an area is %q", got)
	}
}

// The newest scan that was evaluated is not moved by late ones, by waiting ones,
// nor by time.
func TestNewestEvaluatedScan(t *testing.T) {
	s := newStory(t, wrapOfTwoSources(above("ankle.pressure", 60, time.Second)))
	const half = 500 * time.Millisecond
	last := func(want sample.Instant) {
		t.Helper()
		if got := s.LastScan(0); got != want {
			t.Errorf("the newest evaluated scan is of %v, want %v", got, want)
		}
	}
	last(sample.Past)
	s.scan(0, 0, 70)
	s.scan(1, 0, 70)
	s.scan(0, half, 70) // waits for the other source
	last(0)
	s.scan(1, half, 70)
	last(sample.Instant(half))
	s.scan(0, half/2, 70)
	s.scan(1, half/2, 70)
	s.Tick(sample.Instant(time.Minute))
	s.expect(t, "1s raised bench-1~tight~ankle", "1.5s unknown bench-1~tight~ankle")
	if s.late != 2 {
		t.Errorf("%d scans were late, want 2", s.late)
	}
	last(sample.Instant(half))
}

func TestRuleJudgesWhatItFindsAtAPlace(t *testing.T) {
	plan := wrapOfTwoSources(above("ankle.pressure", 60, 0))
	bed := bed(1, 2).Places[0]
	for _, c := range []struct {
		at    rules.Where
		watch string
		place *rules.Place
		want  bool
	}{
		{rules.Where{}, "ankle.pressure", &plan.Places[0], true},
		{rules.Where{}, "ankle.pressure", &bed, false},
		{rules.Where{}, "heels.pressure", &bed, true},
		{rules.Where{Kind: rules.Wrap}, "heels.pressure", &bed, false},
		{rules.Where{Place: "bed-5"}, "heels.pressure", &bed, false},
	} {
		rule := rules.Rule{At: c.at, Limit: &rules.Limit{Watch: c.watch}}
		if got := rule.Judges(c.place); got != c.want {
			t.Errorf("%s at %+v judges %s: %t, want %t", c.watch, c.at, c.place.ID, got, c.want)
		}
	}
}
