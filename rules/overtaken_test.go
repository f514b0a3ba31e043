package rules_test

import (
	"testing"
	"time"

	"weald/ingest/sample"
)

// A reading that has come, and only waits for older ones of another source, is not late
// because something becomes due meanwhile.
func TestWhatWaitsIsNotOvertaken(t *testing.T) {
	s := newStory(t, wrapOfTwoSources(above("ankle.pressure", 32, 0)))
	s.scan(0, 0, 40)
	s.scan(1, 0, 40)
	s.expect(t, "0s raised bench-1~tight~ankle")
	// Both sources fall silent at 1 s, which is due at 1.2 s; until 1.3 s this one waits.
	s.Scan(&sample.Scan{Source: 0, At: sample.Instant(950 * time.Millisecond), Arrived: sample.Instant(1100 * time.Millisecond), Values: []float64{41}})
	s.Tick(sample.Instant(1200 * time.Millisecond))
	s.Tick(sample.Instant(1300 * time.Millisecond))
	if s.late > 0 {
		t.Errorf("%d scans are late", s.late)
	}
	s.Tick(sample.Instant(2400 * time.Millisecond))
	s.expect(t, "1.95s unknown bench-1~tight~ankle")
}
