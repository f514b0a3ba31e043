package rules

import (
	"fmt"
	"math"
	"time"

	"weald/ingest/sample"
	"weald/rules/state"
)

// A flow is what the frames of a source say of it: the level of its battery, which
// is the newest that was known, and how they come, over one to two windows of time: how
// many are lost, and how far the instants at which they were sampled are from those
// at which they arrived. A clock that is off shows in the fastest of them, as a
// frame can be late, but not early (semantics of package clock); one that was mapped
// from a device's counter is right by construction. Stored frames do not count.
type flow struct {
	begun       bool
	began       sample.Instant
	seq         uint32 // of the newest frame
	now, before passage
	charge      sample.Charge
}

// A passage is what came in one window.
type passage struct {
	came, lost int
	least      time.Duration // from sampled to arrived; MaxInt64 without any
}

const (
	flowWindow = time.Minute
	leastCame  = 10      // frames, below which nothing is said
	mostGap    = 1 << 16 // frames, from which on it is no hole but a source that began anew
)

func (f *flow) add(s *sample.Scan) {
	if s.Stored {
		return
	}
	if s.Battery != 0 {
		f.charge = s.Battery
	}
	first := s.Seq
	if s.Counted {
		first = s.First
	}
	if !f.begun || s.At.Sub(f.began) >= 2*flowWindow {
		f.before = passage{least: math.MaxInt64}
	} else if s.At.Sub(f.began) >= flowWindow {
		f.before = f.now
	}
	if !f.begun || s.At.Sub(f.began) >= flowWindow {
		f.began, f.now = s.At, passage{least: math.MaxInt64}
	}
	if gap := first - f.seq - 1; f.begun && gap < mostGap {
		f.now.lost += int(gap)
	}
	f.begun, f.seq = true, s.Seq
	f.now.came += int(s.Seq-first) + 1
	f.now.least = min(f.now.least, s.Arrived.Sub(s.At))
}

// lost returns the share of frames that were lost.
func (f *flow) lost() float64 {
	lost, came := f.now.lost+f.before.lost, f.now.came+f.before.came
	if lost+came < leastCame {
		return 0
	}
	return float64(lost) / float64(lost+came)
}

// off returns by how much the clock is behind, or, below 0, ahead.
func (f *flow) off() time.Duration {
	if f.now.came+f.before.came < leastCame {
		return 0
	}
	return min(f.now.least, f.before.least)
}

// fault returns the first of those asked for, "" for none.
func (f *flow) fault(q *Quality) Fault {
	for _, of := range q.Of {
		switch {
		case of == Lossy && f.lost() > q.Loss, of == Clock && f.off().Abs() > q.Clock, of == Battery && f.low(q):
			return of
		}
	}
	return ""
}

// low reports whether the battery is known to be low.
func (f *flow) low(q *Quality) bool {
	percent, known := f.charge.Percent()
	return known && float64(percent) <= q.Battery
}

func (f *flow) words(of Fault) string {
	switch of {
	case Lossy:
		return fmt.Sprintf("loses %.0f %% of its frames", 100*f.lost())
	case Battery:
		percent, _ := f.charge.Percent()
		return fmt.Sprintf("has a battery at %d %%", percent)
	}
	way := "behind"
	if f.off() < 0 {
		way = "ahead"
	}
	return fmt.Sprintf("has a clock that is %s %s", Duration(f.off().Abs()), way)
}

// Code implements state.Coder.
func (f *flow) Code(c *state.Codec) {
	c.Bool(&f.begun)
	c.Instant(&f.began)
	seq := int(f.seq)
	c.Int(&seq, 0, math.MaxUint32)
	f.seq = uint32(seq)
	for _, p := range [...]*passage{&f.now, &f.before} {
		c.Int(&p.came, 0, math.MaxInt)
		c.Int(&p.lost, 0, math.MaxInt)
		c.Duration(&p.least)
	}
	charge := int(f.charge)
	c.Int(&charge, 0, int(sample.ChargeOf(100)))
	f.charge = sample.Charge(charge)
}
