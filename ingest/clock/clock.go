package clock

import (
	"time"

	"weald/ingest/sample"
)

// What the package documentation explains.
const (
	// Jump is how far a frame may be from its predicted time before the device
	// is suspected of having lost count.
	Jump = 2 * time.Second

	young      = 10 * time.Second // of an epoch, in which earliness is doubted
	youngJump  = time.Minute
	slewPart   = 8           // corrections take at most 1/slewPart of the elapsed time
	silentPart = 1000        // of a silence is what predictions may be wrong by after it
	turning    = time.Minute // and for so long

	lateFor    = 20 * time.Second
	lateBeaten = 50 * time.Millisecond
	lateFrames = 4
)

// A Clock maps the counter of one source. The zero Clock is ready; its first
// frame begins its first epoch. It is not safe for concurrent use.
//
// Inside, dev is the counter unwrapped to nanoseconds since the epoch's first
// frame, and an offset is what has to be added to origin+dev.
type Clock struct {
	begun    bool
	restart  bool // the next frame begins an epoch
	epochs   int
	steps    int
	origin   sample.Instant // arrival of the epoch's first frame
	ms       uint32         // of the newest frame
	dev      int64          // of the newest frame
	arrival  sample.Instant // of the newest frame
	out      int64          // the offset in use, slewed toward the envelope's line
	last     sample.Instant // the latest event time given
	envelope envelope
	late     lateness

	slack      int64 // of predictions after a silence, ns
	slackUntil int64 // dev
}

// lateness watches a run of frames that are all more than Jump late.
type lateness struct {
	frames int
	least  int64 // how late the fastest of them is, ns
	beaten int64 // the lateness that has to be beaten by lateBeaten
	since  int64 // dev when it was last beaten
}

// Map returns the event time of a frame that was sent as soon as it was
// recorded, and learns from it. Frames are given in the order of their
// counters; parts of one scan share a counter and may all be given.
func (c *Clock) Map(ms uint32, arrival sample.Instant) sample.Instant {
	if !c.begun || c.restart {
		return c.begin(ms, arrival)
	}
	dev, ok := c.unwrap(ms, arrival)
	if !ok {
		return c.begin(ms, arrival)
	}
	if arrival < c.arrival.Add(-Jump) {
		// Arrivals come from one clock in one order, so this is no frame that
		// was early: the host has moved its time and has not said so.
		c.Step(arrival.Sub(c.predict(dev)))
	}
	tolerance := int64(Jump) + c.doubt(dev)
	lead := int64(c.predict(dev).Sub(arrival))
	if lead > tolerance && (dev >= int64(young) || lead > int64(youngJump)) {
		return c.begin(ms, arrival)
	}
	if -lead > tolerance {
		if c.stays(-lead, dev) {
			return c.begin(ms, c.predict(dev).Add(time.Duration(c.late.least)))
		}
	} else {
		c.late.frames = 0
		c.envelope.add(dev, int64(arrival.Sub(c.origin))-dev)
	}
	c.out = c.offset(dev)
	c.ms, c.dev, c.arrival = ms, dev, arrival
	c.last = max(c.last, min(c.origin.Add(time.Duration(dev+c.out)), arrival))
	return c.last
}

// Place returns the event time of a frame that was recorded earlier and sent
// late, or overtaken on its way. It learns nothing from it and returns a time
// among those that Map gives: up to arrival, for a counter that is not newer
// than the newest one no later than what Map returned for that, and for one
// that is newer no earlier.
//
// The answer is false when the time cannot be known: before the first frame
// that Map has seen, or when the counter belongs to a time that is still to
// come, and so to an epoch that is over. A counter is taken to be less than
// 24.8 days from the newest one.
func (c *Clock) Place(ms uint32, arrival sample.Instant) (sample.Instant, bool) {
	if !c.begun || c.restart {
		return sample.Never, false
	}
	dev := c.dev + int64(int32(ms-c.ms))*int64(time.Millisecond)
	at := c.origin.Add(time.Duration(dev + c.offset(dev)))
	switch {
	case at > arrival.Add(Jump):
		return sample.Never, false
	case dev <= c.dev:
		at = min(at, c.last)
	default:
		at = max(at, c.last)
	}
	return min(at, arrival), true
}

// Restart says that the device is known to have restarted: the next frame
// begins a new epoch.
func (c *Clock) Restart() { c.restart = c.begun }

// NotBefore says that an event time has been given by a former Clock of the same
// source: those to come are not earlier.
func (c *Clock) NotBefore(at sample.Instant) {
	if c.begun {
		c.last = max(c.last, at)
	}
}

// Step says that the host has moved its clock: what it called t is now t+by.
// Everything that the Clock knows moves with it, so that event times go on as
// if the host had always counted so; the next ones may lie before the ones
// given so far. It begins a new epoch and is counted.
func (c *Clock) Step(by time.Duration) {
	if !c.begun {
		return
	}
	c.origin, c.arrival, c.last = c.origin.Add(by), c.arrival.Add(by), c.last.Add(by)
	c.epochs++
	c.steps++
}

// begin starts an epoch with a frame that is taken to be in time. The skew is
// kept: it is a property of the device's crystal, which a reboot does not change.
func (c *Clock) begin(ms uint32, arrival sample.Instant) sample.Instant {
	if !c.begun {
		c.last = sample.Past
	}
	c.begun, c.restart = true, false
	c.epochs++
	c.origin, c.arrival = arrival, arrival
	c.ms, c.dev, c.out = ms, 0, 0
	c.late, c.slack, c.slackUntil = lateness{}, 0, 0
	c.envelope.begin()
	c.last = max(c.last, arrival)
	return c.last
}

// unwrap returns dev for a counter, or false where the counter fell back.
func (c *Clock) unwrap(ms uint32, arrival sample.Instant) (int64, bool) {
	const turn = int64(1) << 32 // milliseconds
	ahead := int64(ms - c.ms)
	elapsed := int64(arrival.Sub(c.arrival) / time.Millisecond)
	if ahead >= turn/2 && elapsed < turn/2 {
		return 0, false
	}
	// Only the host can tell how often the counter wrapped in a long silence.
	turns := max(0, (elapsed-ahead+turn/2)/turn)
	return c.dev + (ahead+turns*turn)*int64(time.Millisecond), true
}

// predict returns when a frame recorded at dev arrives if nothing delays it.
func (c *Clock) predict(dev int64) sample.Instant {
	return c.origin.Add(time.Duration(dev + c.envelope.line.at(dev)))
}

// offset returns the offset for a frame recorded at dev, before or after the
// newest one: that in use, slewed toward the line there by a part of the device
// time between the two.
func (c *Clock) offset(dev int64) int64 {
	limit := max(dev-c.dev, c.dev-dev) / slewPart
	return c.out + min(max(c.envelope.line.at(dev)-c.out, -limit), limit)
}

// doubt returns what a silence adds to the error that a prediction may have: the
// silence times twice the largest skew, for as long as it takes the line to turn
// to what comes after it.
func (c *Clock) doubt(dev int64) int64 {
	if dev >= c.slackUntil {
		c.slack = 0
	}
	if by := (dev - c.dev) / silentPart; by > c.slack {
		c.slack, c.slackUntil = by, dev+int64(turning)
	}
	return c.slack
}

// stays reports whether a frame that is late by the given nanoseconds shows
// that the lateness has come to stay.
func (c *Clock) stays(by, dev int64) bool {
	l := &c.late
	if l.frames == 0 {
		*l = lateness{least: by, beaten: by, since: dev}
	}
	l.frames++
	l.least = min(l.least, by)
	if l.least < l.beaten-int64(lateBeaten) {
		l.beaten, l.since = l.least, dev
	}
	return l.frames >= lateFrames && dev-l.since >= int64(lateFor)
}

// Epochs is the number of epochs begun so far.
func (c *Clock) Epochs() int { return c.epochs }

// Status is what a person may want to know about a Clock.
type Status struct {
	Epochs int // begun so far, the first one included; 0 before the first frame
	Steps  int // of them, how many because the host moved its clock

	// Offset is the wall clock minus the counter, as counted since the Unix
	// epoch: the counter would have read 0 (or wrapped last) at this instant.
	Offset time.Duration

	// Slewing is how much of the newest correction is still to be made.
	Slewing time.Duration

	// Skew is by how many parts per million the device's clock runs fast, NaN
	// until it has been watched for a minute.
	Skew float64
}

// Status returns what is known now.
func (c *Clock) Status() Status {
	return Status{
		Epochs:  c.epochs,
		Steps:   c.steps,
		Offset:  c.origin.Add(time.Duration(c.dev+c.out)).Sub(0) - time.Duration(c.ms)*time.Millisecond,
		Slewing: time.Duration(c.envelope.line.at(c.dev) - c.out),
		Skew:    c.envelope.skew(),
	}
}
