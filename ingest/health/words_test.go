package health

import (
	"testing"
	"time"

	"weald/ingest/sample"
)

func TestFindingSentences(t *testing.T) {
	now := sample.Instant(100 * 24 * time.Hour)
	for _, c := range []struct {
		finding Finding
		want    string
	}{
		{Finding{Channel: 3, Row: -1, State: Silent, Since: now.Add(-50 * time.Second)}, "Channel 3 has delivered no reading for 50 s."},
		{Finding{Row: 38, Column: 18, State: Dead, Since: now.Add(-150 * time.Minute), Trials: 8, LeftOut: true}, "The cell in row 39, column 19 has read 0 for 2 h and has never answered, though what surrounds it moved 8 times: it is left out of the signals."},
		{Finding{Row: 0, Column: 0, State: Stuck, Since: now.Add(-72 * time.Hour), Trials: 40, Reading: 1830}, "The cell in row 1, column 1 has read exactly 1,830 for 3 days, though what surrounds it moved 40 times: it stays in the signals, because a load may be behind so high a reading."},
		{Finding{Channel: 12, Row: -1, State: Open, Since: now.Add(-6 * time.Minute)}, "Channel 12 has fallen to the lowest reading while those around it are under load, for 6 min: is its lead open or loose?"},
		{Finding{Row: 1, Column: 2, State: Saturated, Since: now.Add(-90 * time.Second), Reading: 4095}, "The cell in row 2, column 3 has been at the end of its range, 4,095, for 90 s: the load is at least that."},
		{Finding{Channel: 1, Row: -1, State: Noisy, Since: now.Add(-20 * time.Minute), Scatter: 41.7, Others: 1.49}, "Channel 1 has scattered by at least 42 from scan to scan for 20 min, those around it by 1.5."},
		{Finding{Channel: 1, Row: -1}, ""},
	} {
		c.finding.At = now
		if got := c.finding.Sentence(); got != c.want {
			t.Errorf("%v:\n got %s\nwant %s", c.finding.State, got, c.want)
		}
	}
}

func TestReportSentences(t *testing.T) {
	for _, c := range []struct {
		report Report
		want   string
	}{
		{Report{Channels: 4}, ""},
		{Report{Channels: 2048, Mat: true, Dead: 3, LeftOut: 3}, "3 of 2,048 cells are dead; 3 left out of the signals."},
		{Report{Channels: 2048, Mat: true, Dead: 1, Saturated: 2, Stuck: 1, LeftOut: 1}, "1 of 2,048 cells is dead, 1 is stuck, 2 are at the end of the range; 1 left out of the signals."},
		{Report{Channels: 1, Silent: 1}, "1 of 1 channel is silent."},
		{Report{Channels: 4, Open: 1, Noisy: 2}, "1 of 4 channels is open or loose, 2 are noisy."},
		{Report{Channels: 512, Mat: true, Stuck: 48, LeftOut: 48, Rows: []int{15}, Columns: []int{8}}, "48 of 512 cells are stuck, row 16 does not answer at all, column 9 does not answer at all; 48 left out of the signals."},
	} {
		if got := c.report.Sentence(); got != c.want {
			t.Errorf("got  %s\nwant %s", got, c.want)
		}
	}
}

func TestNumbers(t *testing.T) {
	for v, want := range map[float64]string{0: "0", 12.3456789: "12.346", 999: "999", 1000: "1,000", 4095: "4,095", 1234567: "1,234,567", -1234: "-1,234", -123: "-123", 0.25: "0.25"} {
		if got := number(v); got != want {
			t.Errorf("%v is written %q, want %q", v, got, want)
		}
	}
	for s := Sound; s < states; s++ {
		if s.String() == "unknown" {
			t.Errorf("state %d has no name", s)
		}
	}
	if got := states.String(); got != "unknown" {
		t.Errorf("no state is called %q", got)
	}
}

func TestReportIsBounded(t *testing.T) {
	r := newRig(t, Config{Channels: 2048, Rows: 32, Columns: 64}, time.Second)
	r.run(10*time.Minute, func(n, i int) float64 { return nan })
	rep := r.report()
	if rep.Silent != 2048 || len(rep.Findings) != findingsShown {
		t.Errorf("%d silent and %d findings of a source that delivers nothing", rep.Silent, len(rep.Findings))
	}
}
