package keeper_test

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/journal/journaltest"
)

// While a disk is full, a mat whose clock is hours slow raises an alert, which clears
// when somebody has set its clock; and then the daemon is killed. What was kept before
// that is not kept again, although the record has older changes behind it.
func TestChangesOfASlowClockHideNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		j := &crowded{Journal: new(journaltest.Memory)}
		l := begin(t, j)
		noon := sample.Instant(12 * time.Hour)
		scans := func(source int, from sample.Instant, n int, raw ...float64) {
			for i := range n {
				l.scan(source, from.Add(time.Duration(i)*500*time.Millisecond), raw)
			}
		}
		scans(1, noon, 6, 40) // raised
		scans(1, noon.Add(3*time.Second), 4, 20)
		told := len(l.told)
		j.full.Store(true)
		slow := time.Duration(rapid.IntRange(2, 10).Draw(t, "hours")) * time.Hour
		scans(0, noon.Add(-slow), 20, 360, 360, 300, 300)
		scans(0, noon.Add(20*time.Second), 5, 300, 300, 300, 300)
		if told < 2 || len(l.told) < told+2 {
			t.Fatalf("too little was told: %q", l.told)
		}
		j.full.Store(false)
		if again := begin(t, j).told; len(again) > 0 {
			t.Fatalf("told again: %q", again)
		}
	})
}

// Somebody puts an alert aside, takes it back and puts it aside again, all at one instant
// of its place, whose clock is ahead; the daemon is killed before it tells the last of it.
// That is told by the next start, though it is like the first.
func TestEqualChangesAreCounted(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		j := new(journaltest.Memory)
		l := begin(t, j)
		noon := sample.Instant(12 * time.Hour)
		for i := range 6 {
			l.scan(1, noon.Add(time.Duration(i)*500*time.Millisecond), []float64{40})
		}
		tight := subjects[2]
		times := rapid.IntRange(1, 4).Draw(t, "times")
		for i := range times {
			if i > 0 {
				l.act(tight, alert.Action{Verb: alert.Unshelve, At: noon, Who: "K-07", Why: "bath"}, false)
			}
			l.act(tight, alert.Action{Verb: alert.Shelve, At: noon, Who: "K-07", Why: "bath", Until: noon.Add(time.Hour)}, i == times-1)
		}
		told := slices.Concat(l.told, begin(t, j).told)
		told = append(told, begin(t, j).told...)
		var kept []string
		shelved := 0
		for _, e := range transitions(t, j) {
			kept = append(kept, line(&e))
			if e.What == alert.WasShelved {
				shelved++
			}
		}
		if shelved != times || !slices.Equal(kept, told) {
			t.Fatalf("it was put aside %d times; kept %q, told %q", times, kept, told)
		}
	})
}
