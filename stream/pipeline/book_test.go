package pipeline

import (
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
)

// Somebody who gets up puts what is over aside, and takes it back lying down: it is over since it
// ended all the same, and is not shown for another shift, nor anew once it was forgotten. A place
// forgets it also where nobody asks for the list of alerts.
func TestWhatIsOverIsSoFromWhenItEnded(t *testing.T) {
	b := book{byID: map[string]int{}, last: map[string]alert.Event{}}
	raised := sample.At(time.Date(2031, 1, 1, 10, 0, 0, 0, time.UTC))
	happens := func(after time.Duration, what alert.Change, s alert.State) {
		e := alert.Event{At: raised.Add(after), Key: alert.Key{Place: "bed-4", Rule: "turn", Subject: "mat"}, What: what, State: s, Text: "due", Stands: what == alert.Raised}
		b.apply(&e)
	}
	shown := func(after time.Duration) int { return len(b.of("bed-4", raised.Add(after))) }
	happens(0, alert.Raised, alert.Unacknowledged)
	happens(time.Hour, alert.Cleared, alert.Returned)
	happens(2*time.Hour, alert.WasSuppressed, alert.Suppressed)
	happens(8*time.Hour, alert.WasUnsuppressed, alert.Returned)
	if n := shown(13 * time.Hour); n != 1 {
		t.Errorf("twelve hours after it ended the place has %d", n)
	}
	if n := shown(13*time.Hour + time.Second); n != 0 {
		t.Errorf("after that the place has %d", n)
	}
	b.forget(func(string) sample.Instant { return raised.Add(14 * time.Hour) })
	if n := len(b.list()); n != 0 {
		t.Errorf("%d are listed", n)
	}
	happens(15*time.Hour, alert.WasSuppressed, alert.Suppressed)
	happens(16*time.Hour, alert.WasUnsuppressed, alert.Returned)
	if n := shown(16 * time.Hour); n != 0 {
		t.Errorf("what was forgotten is back: %+v", b.of("bed-4", raised.Add(16*time.Hour)))
	}
}
