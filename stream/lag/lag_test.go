package lag

import (
	"testing"
	"time"

	"weald/ingest/sample"
)

func TestLagIsTheLeastOfTheLastMinute(t *testing.T) {
	var l Lag
	at := sample.Instant(0)
	for _, d := range []time.Duration{50, 20, 900, 30} {
		l.Add(at, d*time.Millisecond)
		at = at.Add(time.Second)
	}
	if got := l.Least(); got != 20*time.Millisecond {
		t.Errorf("least %v, want 20 ms", got)
	}
	for range 70 { // the link has become slower
		l.Add(at, 80*time.Millisecond)
		at = at.Add(time.Second)
	}
	if got := l.Least(); got != 80*time.Millisecond {
		t.Errorf("a minute later %v, want 80 ms", got)
	}
}
