package assembly

import (
	"time"

	"weald/ingest/frame"
	"weald/ingest/sample"
)

// Counting says what the counter of a device counts, as far as its pace tells.
type Counting uint8

// What a counter counts. Anything but milliseconds is of no use: then the event
// time of a scan is its arrival.
const (
	Milliseconds Counting = iota // or it is not known yet
	Nothing                      // it stands still
	Seconds
	Microseconds
)

// When the pace of a counter tells something.
const (
	paceOver  = 3 * time.Second // of arrivals
	paceScans = 3               // after the first

	// A queue that is drained brings the scans, too, faster than they were
	// recorded. So many times the nominal rate are not judged; without a nominal
	// rate, scans are expected not to be farther apart than apartMost.
	burstFactor = 3
	apartMost   = 10 * time.Second
)

// A counter compares the pace of the device's counter with that of the arrivals,
// over one stretch after the other.
type counter struct {
	period  time.Duration // nominal; 0 if it is not stated
	counts  Counting
	proven  bool // it has been at a clock's pace since it started
	begun   bool
	first   int    // channel, of the scans that are compared
	from    uint32 // the counter at the stretch's beginning
	newest  uint32
	arrival sample.Instant // at its beginning
	scans   int            // since then
	epochs  int            // of the clock then, the first scan's included
}

// restart says that the device has started again, with f.
func (c *counter) restart() { c.begun, c.proven = false, false }

// watch takes the first part of a live scan, and reports whether what the
// counter counts has turned out to be something else.
func (c *counter) watch(f *frame.Frame, arrival sample.Instant) bool {
	took := arrival.Sub(c.arrival)
	switch {
	case !c.begun, int32(f.Millis-c.newest) < 0, took < 0:
		c.begin(f, arrival)
		return false
	case f.First != c.first:
		return false // another part, of a scan that was given up
	}
	c.newest = f.Millis
	if c.scans++; c.scans < paceScans || took < paceOver {
		return false
	}
	before := c.counts
	c.judge(time.Duration(f.Millis-c.from)*time.Millisecond, took)
	if c.counts == before {
		c.begin(f, arrival)
		return false
	}
	c.begun = false
	return true
}

func (c *counter) begin(f *frame.Frame, arrival sample.Instant) {
	c.begun, c.first, c.scans = true, f.First, 0
	c.from, c.newest, c.arrival = f.Millis, f.Millis, arrival
}

// judge looks at a stretch. A pace that tells nothing leaves standing what the
// ones before have told.
func (c *counter) judge(counted, took time.Duration) {
	near := func(a, b time.Duration) bool { return a >= b/2 && a <= b+b/2 }
	switch {
	case counted == 0:
		c.counts = Nothing
	case near(counted, took/1000):
		c.counts = Seconds
	case near(counted, took):
		c.counts, c.proven = Milliseconds, true
	case !c.proven && near(counted/1000, took) && !c.burst(counted, took):
		c.counts = Microseconds
	}
}

// burst reports whether a stretch may be of scans that had waited.
func (c *counter) burst(counted, took time.Duration) bool {
	n := time.Duration(c.scans)
	if c.period > 0 {
		return n*c.period > burstFactor*took
	}
	return counted < n*apartMost
}

// step moves arrivals with the host's clock.
func (c *counter) step(by time.Duration) { c.arrival = c.arrival.Add(by) }
