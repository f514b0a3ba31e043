package assembly

import (
	"math"
	"time"

	"weald/ingest/sample"
)

// Stats is what has been counted of a source since its Assembler was made. It
// is plain data and may be copied. Counts never fall.
type Stats struct {
	Frames     uint64 // accepted, of any kind, repeats included
	Scans      uint64 // passed on, damaged and late ones included
	Gaps       uint64 // frames that were missing when the next one came
	Repeats    uint64 // frames dropped because they had been received
	Late       uint64 // frames that were overtaken, or rows that go back in time
	Stored     uint64 // frames recorded earlier and sent late
	Unplaced   uint64 // of them, not passed on because their time is not known
	Incomplete uint64 // scans from which readings are missing
	Damaged    uint64 // scans whose readings were withheld as damaged
	Saturated  uint64 // readings at the rail

	LastSaturated int // readings at the rail in the newest scan

	Epochs   int           // of the device's clock, or of that of live rows; 1 is one that has never started again or been set
	Restarts int           // of the device: epochs that began because its counter, or its numbers, started again
	Offset   time.Duration // host's clock minus the device's counter, or minus the rows' clock
	Skew     float64       // ppm that the device's clock runs fast; NaN not known yet
	Rate     float64       // live scans per second of the device's time, or of event time where it tells none, over the last ten seconds; NaN before the second scan and in the first second of scans, also after a silence

	Counting Counting // what the device's counter counts

	Leap Leap // the newest, of live rows

	LastEvent   sample.Instant // event time of the newest live scan; Past before it
	LastArrival sample.Instant // of the newest frame; Past before it
}

// rateOver is the event time of one half of a rate's window. Nothing for as long
// and for silentPeriods nominal periods is a silence.
const (
	rateOver      = 5 * time.Second
	silentPeriods = 3
)

// A rate is the mean number of scans per second over two halves of a window,
// the older of which is full. A silence is no part of it: it says nothing of how
// fast a source sends when it does.
type rate struct {
	pause      time.Duration // that is a silence; 0 for none
	begun      bool
	older, now half
	last       sample.Instant
}

type half struct {
	from sample.Instant
	n    int // scans after from
}

func (r *rate) add(at sample.Instant) {
	if !r.begun || at < r.last || r.pause > 0 && at.Sub(r.last) > r.pause { // time that goes back is counted anew
		*r = rate{pause: r.pause, begun: true, older: half{from: at}, now: half{from: at}, last: at}
		return
	}
	r.now.n++
	if r.last = at; at.Sub(r.now.from) >= rateOver {
		r.older, r.now = r.now, half{from: at}
	}
}

func (r *rate) perSecond() float64 {
	span := r.last.Sub(r.older.from)
	if !r.begun || span < time.Second {
		return math.NaN()
	}
	return float64(r.older.n+r.now.n) / span.Seconds()
}
