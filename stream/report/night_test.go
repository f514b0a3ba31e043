package report_test

import (
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/stream/report"
)

// A night is from 20:00 to 8:00 of the zone, also when clocks are put forward in it.
func TestTheLastNight(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Vienna")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		now, from string
		lasts     time.Duration
	}{
		{"2026-03-02T09:00:00+01:00", "2026-03-01T20:00:00+01:00", 12 * time.Hour},
		{"2026-03-02T19:59:59+01:00", "2026-03-01T20:00:00+01:00", 12 * time.Hour},
		{"2026-03-02T20:00:00+01:00", "2026-03-02T20:00:00+01:00", 12 * time.Hour},
		{"2026-03-29T09:00:00+02:00", "2026-03-28T20:00:00+01:00", 11 * time.Hour}, // EU Directive 2000/84/EC: the last Sunday of March
	} {
		now, _ := time.Parse(time.RFC3339, c.now)
		from, to := report.LastNight(now.In(zone))
		if want, _ := time.Parse(time.RFC3339, c.from); from != sample.At(want) || to.Sub(from) != c.lasts {
			t.Errorf("at %s it is %v for %v, want %s for %v", c.now, from.Time().In(zone), to.Sub(from), c.from, c.lasts)
		}
	}
}
