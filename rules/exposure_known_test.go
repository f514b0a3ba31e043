package rules_test

import (
	"math"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/exposure"
)

// Whether any cell of a region has used its share is no while at least half of its cells
// are known and none has, unknown while fewer are, and yes as soon as one that is known
// has, however few are. When nothing is known any more the alert stays and says so: what
// was used is not undone by a reading that is missing.
func TestAnExposureIsKnownWhileHalfIs(t *testing.T) {
	table := []exposure.Point{{MMHg: 30, Time: time.Minute}, {MMHg: 60, Time: 10 * time.Second}}
	for known := range 5 {
		r := rules.Rule{ID: "dose", Priority: 1, ForgetAfter: time.Hour, Exposure: &rules.Exposure{Of: "back", Table: table, Share: 0.5, Floor: 20, Recovery: exposure.Never}}
		s := newStory(t, bed(2, 4, r))
		values := []float64{60, 10, 10, 10, 10, 10, 10, 10}
		s.scan(0, 0, values...)
		for i := known; i < 4; i++ {
			values[i] = math.NaN()
		}
		s.scan(0, 2*time.Second, values...) // a fifth is used by then
		want := sample.No
		if known < 2 {
			want = sample.Maybe
		}
		if p := s.Progress(0, nil)[0]; p.Condition != want || math.Abs(p.Share-0.4) > 1e-3 {
			t.Errorf("with %d of 4 known: %v and %v used, want %v and 0.4 of the share", known, p.Condition, p.Share, want)
		}
		values[0] = 60
		for second := 4; second <= 8; second += 2 {
			s.scan(0, time.Duration(second)*time.Second, values...)
		}
		if p := s.Progress(0, nil)[0]; p.Condition != sample.Yes || !p.Raised || p.Unknown {
			t.Errorf("with %d of 4 known and more than half used: %+v", known, p)
		}
		s.scan(0, 9*time.Second, repeat(math.NaN(), 8)...)
		if p := s.Progress(0, nil)[0]; p.Condition != sample.Maybe || !p.Raised || !p.Unknown || p.Share <= 1 {
			t.Errorf("with %d of 4 known and more than half used, and then nothing known: %+v", known, p)
		}
	}
}
