package assembly

import (
	"math"
	"time"

	"weald/ingest/calib"
	"weald/ingest/frame"
	"weald/ingest/sample"
)

// partsWithin is how long a scan waits for its next part before Flush ends it.
const partsWithin = 300 * time.Millisecond

// A lane makes scans of the frames of one source that come in one order. There
// is one for live frames, one for those that were overtaken and one for those
// that were stored, so that none ends another's scan.
type lane struct {
	convert *calib.Converter
	rail    float64 // 0: the frame's own
	guard   guard
	done    func(*entry)
	counted bool // frames have numbers and a counter

	open     bool
	ms       uint32
	entry    entry
	covered  []uint64 // a bit a channel: delivered
	channels int      // how many bits are set
}

// An entry is a scan with what is counted when it is passed on.
type entry struct {
	scan       sample.Scan
	saturated  int
	incomplete bool
	damaged    bool
	live       bool // neither stored nor overtaken
}

func newEntry(source, channels int) entry {
	return entry{scan: sample.Scan{Source: source, Values: make([]float64, channels), Raw: make([]float64, channels)}}
}

// set makes e a copy of o, in its own buffers.
func (e *entry) set(o *entry) {
	values, raw := e.scan.Values, e.scan.Raw
	copy(values, o.scan.Values)
	copy(raw, o.scan.Raw)
	*e = *o
	e.scan.Values, e.scan.Raw = values, raw
}

func newLane(c Config, convert *calib.Converter, done func(*entry)) *lane {
	return &lane{
		convert: convert,
		rail:    c.SaturatesAt,
		guard:   guard{watching: c.Unit == calib.Counts && c.Channels >= suspectOf, within: max(decideWithin, decidePeriods*c.Period)},
		done:    done,
		counted: !c.Unnumbered && !c.OwnTime,
		entry:   newEntry(c.Index, c.Channels),
		covered: make([]uint64, (c.Channels+63)/64),
	}
}

// takes reports whether f is a part that is missing from the open scan.
func (l *lane) takes(f *frame.Frame) bool {
	return l.open && f.Kind == frame.Readings && l.ms == f.Millis && l.entry.scan.Stored == f.Stored && !l.overlaps(f.First, len(f.Readings))
}

// add puts f, whose channels are the source's, into the open scan or a new one
// sampled at the given time, and passes the scan on when it is whole.
func (l *lane) add(f *frame.Frame, at, arrival sample.Instant, live bool) {
	if l.open && !l.takes(f) {
		l.end()
	}
	e := &l.entry
	if !l.open {
		l.open, l.ms = true, f.Millis
		e.scan.At, e.scan.Seq, e.scan.First, e.scan.Stored = at, f.Seq, f.Seq, f.Stored
		e.scan.Millis, e.scan.Counted = f.Millis, l.counted
		e.saturated, e.live = 0, live
	}
	rail := l.rail
	if rail <= 0 {
		if rail = f.Top; rail <= 0 {
			rail = calib.NoRail
		}
	}
	e.scan.Rail = rail
	end := f.First + len(f.Readings)
	copy(e.scan.Raw[f.First:end], f.Readings)
	e.saturated += l.convert.Convert(e.scan.Values[f.First:end], f.Readings, f.First, rail)
	l.cover(f.First, len(f.Readings))
	if e.scan.Arrived = arrival; int32(f.Seq-e.scan.Seq) > 0 {
		e.scan.Seq = f.Seq
	}
	if !f.More {
		l.end()
	}
}

// flush ends the open scan if no part of it has come for a while, and gives up
// waiting for the successor of those that are kept back.
func (l *lane) flush(now sample.Instant) {
	if l.open && now.Sub(l.entry.scan.Arrived) >= partsWithin {
		l.end()
	}
	l.guard.flush(now, l.done)
}

// end passes the open scan on as it is.
func (l *lane) end() {
	e := &l.entry
	if e.incomplete = l.channels < len(e.scan.Raw); e.incomplete {
		for i := range e.scan.Raw {
			if l.covered[i/64]>>(i%64)&1 == 0 {
				e.scan.Raw[i], e.scan.Values[i] = math.NaN(), math.NaN()
			}
		}
	}
	l.open, l.channels = false, 0
	clear(l.covered)
	l.guard.pass(e, l.done)
}

// close ends the input: nothing is kept back any longer.
func (l *lane) close() {
	if l.open {
		l.end()
	}
	l.guard.condemn(l.done)
}

// step moves event times and arrivals of what has not been passed on yet with
// the host's clock.
func (l *lane) step(events, arrivals time.Duration) {
	move := func(e *entry) {
		e.scan.At, e.scan.Arrived = e.scan.At.Add(events), e.scan.Arrived.Add(arrivals)
	}
	move(&l.entry)
	for i := range l.guard.kept {
		move(&l.guard.kept[i])
	}
}

// bits returns the word that holds channel i and the bits in it from i on, of n.
func (l *lane) bits(i, n int) (word int, mask uint64) {
	mask = ^uint64(0) << (i % 64)
	if left := 64 - i%64; n < left {
		mask &= 1<<(i%64+n) - 1
	}
	return i / 64, mask
}

func (l *lane) overlaps(first, n int) bool {
	for i := first; i < first+n; i = i/64*64 + 64 {
		if word, mask := l.bits(i, first+n-i); l.covered[word]&mask != 0 {
			return true
		}
	}
	return false
}

func (l *lane) cover(first, n int) {
	for i := first; i < first+n; i = i/64*64 + 64 {
		word, mask := l.bits(i, first+n-i)
		l.covered[word] |= mask
	}
	l.channels += n
}
