package rules

import (
	"math"
	"time"

	"weald/ingest/sample"
	"weald/rules/state"
)

// A steady finds channels that do not change although they ought to: time is cut
// into windows, and in each the channels around one tell whether it had reason to.
// It goes by the scans that were judged, so that a rehearsal finds the same, and is
// part of a place's state; what a source's screen withholds from the signals comes
// here as missing.
//
// Stuck: in a whole window every reading was the same to the last digit, and at
// least half of the channels around it swung by stuckSwing. Open: the same, at the
// lowest reading that any of them has had, without a load, and at least half of the
// channels around it stayed above openLoad. One change ends either. A hole in the scans of a source
// begins a new window. Package figures has a reason for each number.
type steady struct {
	window time.Duration // 0 where nobody asks
	peers  [][]int
	began  sample.Instant // Past: with the next scan
	lowest float64        // of all readings so far
	of     []constancy
}

const (
	stuckSwing = 5.0  // mmHg
	openLoad   = 10.0 // mmHg
)

// A constancy is how constant one channel has been in the present window.
type constancy struct {
	readings    int // 0, 1, or more, which is 2
	raw         float64
	changed     bool
	low, high   float64 // mmHg
	stuck, open bool    // by a former window, and not changed since
}

func newSteady(window time.Duration, peers [][]int) steady {
	return steady{window: window, peers: peers, began: sample.Past, lowest: math.Inf(1), of: make([]constancy, len(peers))}
}

func (s *steady) interrupt() { s.began = sample.Past }

// begin prepares for a scan, and reports whether it is to be added. One that was
// stored is of the past.
func (s *steady) begin(x *sample.Scan) bool {
	if s.window == 0 || x.Stored {
		return false
	}
	if s.began != sample.Past && x.At.Sub(s.began) >= s.window {
		s.end()
		s.began = sample.Past
	}
	if s.began == sample.Past {
		s.began = x.At
		for i := range s.of {
			c := &s.of[i]
			c.readings, c.changed, c.low, c.high = 0, false, math.Inf(1), math.Inf(-1)
		}
	}
	return true
}

// add takes a reading and its value in mmHg, NaN for none.
func (s *steady) add(i int, raw, v float64) {
	if raw != raw {
		return
	}
	c := &s.of[i]
	switch {
	case c.readings > 0 && raw != c.raw, (c.stuck || c.open) && raw != c.raw:
		c.changed, c.stuck, c.open = c.readings > 0, false, false
	}
	c.readings, c.raw = min(c.readings+1, 2), raw
	s.lowest = min(s.lowest, raw)
	if v == v {
		c.low, c.high = min(c.low, v), max(c.high, v)
	}
}

// end judges the window that is over.
func (s *steady) end() {
	for i := range s.of {
		c := &s.of[i]
		if c.readings < 2 || c.changed {
			continue
		}
		swung, loaded := 0, 0
		for _, k := range s.peers[i] {
			o := &s.of[k]
			if o.high-o.low >= stuckSwing {
				swung++
			}
			if o.readings > 1 && o.low >= openLoad && !math.IsInf(o.low, 1) {
				loaded++
			}
		}
		enough := func(n int) bool { return n > 0 && 2*n >= len(s.peers[i]) }
		// What a former window found stands; this one may find the other as well.
		c.stuck = c.stuck || enough(swung)
		c.open = c.open || c.raw == s.lowest && c.high <= contactAbove && enough(loaded)
	}
}

func (s *steady) stuck(i int) bool { return s.window > 0 && s.of[i].stuck }
func (s *steady) open(i int) bool  { return s.window > 0 && s.of[i].open }

// Code implements state.Coder.
func (s *steady) Code(c *state.Codec) {
	c.Instant(&s.began)
	c.Float(&s.lowest)
	for i := range s.of {
		o := &s.of[i]
		n := o.readings
		for k, is := range [...]bool{o.changed, o.stuck, o.open} {
			if is {
				n |= 4 << k
			}
		}
		c.Int(&n, 0, 31)
		o.readings, o.changed, o.stuck, o.open = min(n&3, 2), n&4 != 0, n&8 != 0, n&16 != 0
		c.Float(&o.raw)
		c.Float(&o.low)
		c.Float(&o.high)
	}
}
