package assembly

import (
	"fmt"
	"math"
	"time"

	"weald/ingest/calib"
	"weald/ingest/clock"
	"weald/ingest/frame"
	"weald/ingest/sample"
)

// Config says what a source is.
type Config struct {
	Index    int // sample.Scan.Source of its scans
	Channels int // > 0
	Unit     calib.Unit
	Lines    []calib.Line // as calib.NewConverter takes them

	// SaturatesAt is the rail in the readings' own unit: a reading at or above
	// it is unknown. 0 stands for the top of each frame's coding, and for none
	// where the frame has none.
	SaturatesAt float64

	// Unnumbered is for formats without sequence numbers: nothing is known of
	// gaps, repeats and overtaken frames.
	Unnumbered bool

	// OwnTime is for rows that carry the time of day, which then counts:
	// Frame.Wall is the event time. It implies Unnumbered. Live says that they
	// come from a logger as it measures: then their time is watched, for who
	// sets its clock would stop all judging. A recording is taken as it is.
	OwnTime, Live bool

	// Period is the nominal time between scans; 0 if it is not stated.
	Period time.Duration
}

// An Assembler turns the frames of one source into scans. It is not safe for
// concurrent use and starts no goroutine. Once the buffers of a source's first
// split, stored or suspect scan exist, it allocates nothing.
type Assembler struct {
	config Config
	out    func(*sample.Scan)

	sequence sequence
	memory   *memory        // of a source whose link delivers again; else nil
	newest   sample.Instant // row, with OwnTime
	rows     rowClock       // with Live
	clock    clock.Clock
	counter  counter
	others   int   // epochs that the clock has not seen, less those that an unusable counter made it see
	lane     *lane // live frames
	behind   *lane // overtaken frames; nil before the first
	kept     *lane // stored frames; nil before the first
	convert  *calib.Converter

	stats Stats
	rate  rate
	bad   frame.Bad
}

// New returns the Assembler of a source. Its scans go to out, which must copy
// what it keeps and must not call the Assembler. The error says what is wrong
// with the calibration.
func New(c Config, out func(*sample.Scan)) (*Assembler, error) {
	convert, err := calib.NewConverter(c.Unit, c.Channels, c.Lines)
	if err != nil {
		return nil, err
	}
	a := &Assembler{config: c, out: out, convert: convert, newest: sample.Past}
	a.stats.LastEvent, a.stats.LastArrival = sample.Past, sample.Past
	if c.Period > 0 {
		a.rate.pause = max(rateOver, silentPeriods*c.Period)
	}
	a.counter.period, a.sequence.period = c.Period, c.Period
	a.rows.period, a.rows.leap.At = c.Period, sample.Past
	a.lane = newLane(c, convert, a.done)
	return a, nil
}

// Frame takes a frame of the source that arrived at the given instant, which
// must not run backwards. Scans that it completes go out before Frame returns.
//
// A frame that is refused makes no scan and is not counted in Stats; what is
// returned says why and is valid until the next call. Otherwise the result is
// nil. The reasons are frame.BadChannel for readings beyond the source's
// channels and frame.BadTime for a row without the time that should count, or
// with one that is not believed.
func (a *Assembler) Frame(f *frame.Frame, arrival sample.Instant) *frame.Bad {
	return a.take(f, arrival, false)
}

// take is Frame, and Again where a frame may have come before.
func (a *Assembler) take(f *frame.Frame, arrival sample.Instant, again bool) *frame.Bad {
	if f.Kind == frame.Readings {
		if end := f.First + len(f.Readings); f.First < 0 || end > a.config.Channels {
			a.bad = frame.Bad{Reason: frame.BadChannel, Detail: fmt.Sprintf("channels %d to %d of a source with %d", f.First, end-1, a.config.Channels)}
			return &a.bad
		}
	}
	at := f.Wall
	if a.config.OwnTime {
		if at == sample.Never || at == sample.Past {
			a.bad = frame.Bad{Reason: frame.BadTime, Detail: "row without a time"}
			return &a.bad
		}
		if a.config.Live && f.Kind == frame.Readings {
			event, off, ok := a.rows.place(at, arrival)
			if !ok {
				a.bad = frame.Bad{Reason: frame.BadTime, Detail: leapWords(off)}
				return &a.bad
			}
			at = event
		}
	}
	a.stats.Frames++
	a.stats.LastArrival = arrival
	switch {
	case a.config.OwnTime:
		a.row(f, at, arrival)
	case f.Stored:
		a.stored(f, arrival, again)
	default:
		a.live(f, arrival, again)
	}
	return nil
}

// leapWords says that a row's time is so far from what it should be.
func leapWords(off time.Duration) string {
	if off < 0 {
		return fmt.Sprintf("row with a time %v behind what it should be", off.Abs().Round(time.Millisecond))
	}
	return fmt.Sprintf("row with a time %v ahead of what it should be", off.Round(time.Millisecond))
}

// row takes a frame whose own time counts, and gives it the event time at. It is
// passed on as it comes, in time or not: to sort it is not for the daemon, which
// does not know what follows.
func (a *Assembler) row(f *frame.Frame, at, arrival sample.Instant) {
	if f.Kind != frame.Readings {
		return
	}
	late := at < a.newest
	if late {
		a.stats.Late++
	}
	a.newest = max(a.newest, at)
	if a.lane.open && a.lane.entry.scan.At != at {
		a.lane.end()
	}
	a.lane.add(f, at, arrival, !late)
}

// live takes a frame that was sent as soon as it was recorded.
func (a *Assembler) live(f *frame.Frame, arrival sample.Instant, again bool) {
	missing := uint32(0)
	if !a.config.Unnumbered {
		var p place
		this := receivedOf(f)
		if again && a.memory.has(this) {
			a.stats.Repeats++
			return
		}
		p, missing = a.sequence.judge(this, f.Kind == frame.Readings, arrival)
		if p == repeat || p == same && !a.lane.takes(f) || p == reboot && again && f.Kind != frame.Readings {
			// The last is one of which Recall knows nothing, or is followed by
			// readings that tell as well that the device has started.
			a.stats.Repeats++
			return
		}
		a.memory.add(this, arrival)
		switch p {
		case late:
			a.overtaken(f, arrival)
			return
		case reboot:
			if a.lane.open {
				a.lane.end()
			}
			a.restart(this, arrival)
		}
	}
	if a.lane.takes(f) {
		// A further part was sampled with the first, cannot be faster than it,
		// and may follow a status with a newer counter.
		a.stats.Gaps += uint64(missing)
		a.lane.add(f, a.lane.entry.scan.At, arrival, true)
		return
	}
	epochs := a.clock.Epochs()
	at := a.time(f, arrival)
	switch {
	case missing == 0:
	case a.clock.Epochs() == epochs:
		a.stats.Gaps += uint64(missing)
	default:
		// The counter leapt with the number: nothing tells that any was lost.
		a.sequence.begin(receivedOf(f), arrival)
	}
	if f.Kind == frame.Readings {
		a.lane.add(f, at, arrival, true)
	}
}

// restart begins the sequence and the clock with the first frame of a device
// that has started.
func (a *Assembler) restart(first received, arrival sample.Instant) {
	a.sequence.begin(first, arrival)
	a.clock.Restart()
	a.counter.restart()
	if a.counter.counts != Milliseconds {
		a.others++ // the clock is not asked
	}
}

// time gives the first part of a live scan its event time: what the clock makes
// of its counter, or its arrival where the counter makes no sense.
func (a *Assembler) time(f *frame.Frame, arrival sample.Instant) sample.Instant {
	if f.Kind == frame.Readings {
		before := a.counter.counts
		if a.counter.watch(f, arrival) {
			if before == Milliseconds {
				// What the clock took for restarts was no such thing.
				a.others -= a.clock.Epochs() - a.counter.epochs
			}
			a.clock.Restart()
			a.rate = rate{pause: a.rate.pause}
		}
	}
	if a.counter.counts != Milliseconds {
		return arrival
	}
	at := a.clock.Map(f.Millis, arrival)
	if a.counter.scans == 0 {
		a.counter.epochs = a.clock.Epochs()
	}
	return at
}

// place gives a frame that was stored or overtaken its event time. There is none
// while the counter makes no sense.
func (a *Assembler) place(f *frame.Frame, arrival sample.Instant) (sample.Instant, bool) {
	if a.counter.counts != Milliseconds {
		return sample.Never, false
	}
	return a.clock.Place(f.Millis, arrival)
}

// overtaken takes a frame that fills a hole.
func (a *Assembler) overtaken(f *frame.Frame, arrival sample.Instant) {
	a.stats.Late++
	if a.lane.takes(f) {
		a.lane.add(f, a.lane.entry.scan.At, arrival, true)
		return
	}
	if f.Kind != frame.Readings {
		return
	}
	// It lies between frames that were received, so it has a place.
	if at, ok := a.place(f, arrival); ok {
		a.aside(&a.behind).add(f, at, arrival, false)
	}
}

// stored takes a frame that was recorded earlier.
func (a *Assembler) stored(f *frame.Frame, arrival sample.Instant, again bool) {
	a.stats.Stored++
	if again && a.memory.has(receivedOf(f)) {
		a.stats.Repeats++
		return
	}
	at, ok := a.place(f, arrival)
	if !ok {
		a.stats.Unplaced++
		return
	}
	l := a.aside(&a.kept)
	if !a.config.Unnumbered {
		p, gap := a.sequence.judgeStored(f.Seq, f.Millis, arrival)
		a.stats.Gaps += uint64(gap)
		if p == repeat || p == same && !l.takes(f) {
			a.stats.Repeats++
			return
		}
		if a.memory != nil {
			a.memory.add(receivedOf(f), arrival)
		}
	}
	if f.Kind == frame.Readings {
		l.add(f, at, arrival, false)
	}
}

// aside returns the lane of frames that are not live, which it makes for the
// first of them. Each kind has its own, so that neither ends the other's scan.
func (a *Assembler) aside(l **lane) *lane {
	if *l == nil {
		*l = newLane(a.config, a.convert, a.done)
	}
	return *l
}

// lanes calls f with every lane that there is.
func (a *Assembler) lanes(f func(*lane)) {
	for _, l := range [...]*lane{a.lane, a.behind, a.kept} {
		if l != nil {
			f(l)
		}
	}
}

// done passes a scan on.
func (a *Assembler) done(e *entry) {
	s := &a.stats
	s.Scans++
	s.Saturated += uint64(e.saturated)
	s.LastSaturated = e.saturated
	if e.incomplete {
		s.Incomplete++
	}
	if e.damaged {
		s.Damaged++
	}
	if e.live {
		s.LastEvent = max(s.LastEvent, e.scan.At)
		a.rate.add(a.pace(&e.scan))
	}
	a.out(&e.scan)
}

// pace is the time by which the rate of scans is told: the device's own, as scans that
// waited somewhere on their way come all at once; event time where it has none.
func (a *Assembler) pace(s *sample.Scan) sample.Instant {
	if s.Counted && a.counter.counts == Milliseconds {
		return sample.Instant(0).Add(time.Duration(s.Millis) * time.Millisecond)
	}
	return s.At
}

// Flush passes on a scan of which no part has come for 300 ms, and suspect ones
// that have waited too long for a successor. It is to be called about once a
// second, so that the last scan before a silence is not kept waiting for its
// next.
func (a *Assembler) Flush(now sample.Instant) {
	a.lanes(func(l *lane) { l.flush(now) })
}

// Close passes on all that is still kept back: an incomplete scan as it is, and
// suspect ones as damaged. It ends the input; a mere loss of the link does not,
// since what follows may be the same device.
func (a *Assembler) Close() { a.lanes((*lane).close) }

// Step says that the host has moved its clock: see clock.Clock. With OwnTime
// only arrivals move.
func (a *Assembler) Step(by time.Duration) {
	events := by
	if a.config.OwnTime {
		events = 0
		a.rows.step(by)
	} else {
		a.clock.Step(by)
		a.sequence.step(by)
		a.memory.step(by)
		a.counter.step(by)
		a.rate = rate{pause: a.rate.pause}
	}
	if a.stats.LastArrival != sample.Past {
		a.stats.LastArrival = a.stats.LastArrival.Add(by)
		a.stats.LastEvent = a.stats.LastEvent.Add(events)
	}
	a.lanes(func(l *lane) { l.step(events, by) })
}

// Interrupted says that the connection was lost and is there again. Only the
// measured rate forgets what was before, for it is not that of the source.
func (a *Assembler) Interrupted() { a.rate = rate{pause: a.rate.pause} }

// Calibrated reports whether any channel of the source has a pressure.
func (a *Assembler) Calibrated() bool { return a.convert.Calibrated() }

// Epochs is Stats.Epochs of a source with a counter, for who asks at each frame.
func (a *Assembler) Epochs() int { return a.clock.Epochs() + a.others }

// Stats returns what has been counted so far.
func (a *Assembler) Stats() Stats {
	s, c := a.stats, a.clock.Status()
	s.Epochs, s.Offset, s.Skew = c.Epochs+a.others, c.Offset, c.Skew
	s.Restarts = max(0, s.Epochs-1-c.Steps)
	if s.Counting = a.counter.counts; s.Counting != Milliseconds {
		s.Skew = math.NaN()
	}
	s.Leap = a.rows.leap
	if a.config.Live && a.config.OwnTime {
		s.Epochs, s.Offset = a.rows.epochs, a.rows.offset()
	}
	s.Rate = a.rate.perSecond()
	return s
}
