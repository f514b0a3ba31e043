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

func event(what alert.Change, at time.Duration, subject string) alert.Event {
	return alert.Event{What: what, At: sample.Instant(at), Key: alert.Key{Place: "bed-1", Rule: "r", Subject: subject}}
}

// IEC 62682 counts more than ten alerts in ten minutes as too many for one
// person; the bounds are those of the specification.
func TestBusyPeriods(t *testing.T) {
	var events []alert.Event
	for i := range 11 {
		events = append(events, event(alert.Raised, time.Duration(i)*time.Second, fmt.Sprint(i)))
	}
	for i := range 10 {
		events = append(events, event(alert.Raised, 15*time.Minute+time.Duration(i)*time.Second, fmt.Sprint(20+i)))
	}
	f := tuning.Compute(events, 2, 0, sample.Instant(time.Hour))
	if want := 1.0 / 6; f.BusyShare != want {
		t.Errorf("BusyShare = %v, want %v: eleven raises are too many, ten are not", f.BusyShare, want)
	}
	if f.PerPlaceHour != 10.5 || f.Raised != 21 || f.Standing != 21 {
		t.Errorf("%+v, want 21 raises, all standing, 10.5 per place and hour", f)
	}
}

func TestChattering(t *testing.T) {
	raises := func(at ...time.Duration) (events []alert.Event) {
		for _, a := range at {
			events = append(events, event(alert.Raised, a, "heels"), event(alert.Cleared, a+time.Second, "heels"))
		}
		return events
	}
	for _, c := range []struct {
		at   []time.Duration
		want int
	}{
		{[]time.Duration{0, time.Minute, 2 * time.Minute}, 0},
		{[]time.Duration{0, time.Minute, 2 * time.Minute, 10 * time.Minute}, 1},
		{[]time.Duration{0, time.Minute, 2 * time.Minute, 10*time.Minute + 1}, 0},
		{[]time.Duration{0, 1, 2, 3, 4, 5, 6}, 1},
	} {
		if f := tuning.Compute(raises(c.at...), 1, 0, sample.Instant(time.Hour)); len(f.Chattering) != c.want {
			t.Errorf("raised at %v: chattering %v, want %d", c.at, f.Chattering, c.want)
		}
	}
}

// What nobody acknowledged ends once more with its rule; it was over before.
func TestWhatIsOverIsClearedOnce(t *testing.T) {
	events := []alert.Event{event(alert.Raised, 0, "a"), event(alert.Cleared, time.Minute, "a"), event(alert.Cleared, time.Hour, "a")}
	if f := tuning.Compute(events, 1, 0, sample.Instant(2*time.Hour)); f.Raised != 1 || f.Cleared != 1 {
		t.Errorf("raised %d times, cleared %d times", f.Raised, f.Cleared)
	}
	// The raise may be from before what is looked at.
	if f := tuning.Compute(events[1:], 1, 0, sample.Instant(2*time.Hour)); f.Cleared != 1 {
		t.Errorf("cleared %d times", f.Cleared)
	}
}

func TestStandingLong(t *testing.T) {
	day := 24 * time.Hour
	events := []alert.Event{
		event(alert.Raised, 0, "a"), event(alert.Raised, 0, "b"), event(alert.Raised, day, "c"),
		event(alert.Cleared, day, "a"), event(alert.Cleared, day+1, "b"),
	}
	if f := tuning.Compute(events, 1, 0, sample.Instant(2*day)); f.StandingLong != 1 || f.Standing != 1 {
		t.Errorf("%+v, want one that stood for more than a day, and one that still stands", f)
	}
}

func TestNoSpan(t *testing.T) {
	if f := tuning.Compute(nil, 0, 5, 5); !math.IsNaN(f.PerPlaceHour) || !math.IsNaN(f.BusyShare) {
		t.Errorf("%+v, want no rates without a span", f)
	}
}
