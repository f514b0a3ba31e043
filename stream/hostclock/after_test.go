package hostclock

import (
	"testing"
	"time"

	"weald/ingest/sample"
)

// A host whose clock was set back by an hour since the last run goes on where
// that run ended, and says how far off it is.
func TestAClockThatWasSetBackGoesOn(t *testing.T) {
	ended := sample.At(time.Now().Add(time.Hour))
	c := NewAfter(1, ended)
	if now := c.Now(); now < ended || now.Sub(ended) > time.Minute {
		t.Errorf("shows %v, want just after %v", now, ended)
	}
	if off := c.Off(); off > -59*time.Minute || off < -61*time.Minute {
		t.Errorf("is off by %v, want an hour behind", off)
	}
	if c := NewAfter(1, sample.At(time.Now().Add(-time.Hour))); c.Off().Abs() > time.Second || time.Since(c.Now().Time()).Abs() > time.Second {
		t.Errorf("after a run that ended an hour ago: shows %v, off by %v", c.Now(), c.Off())
	}
}
