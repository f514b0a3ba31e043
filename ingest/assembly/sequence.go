package assembly

import (
	"math"
	"time"

	"weald/ingest/frame"
	"weald/ingest/sample"
)

// What a frame is in its source's sequence; the package documentation defines
// the terms.
type place uint8

const (
	next place = iota
	same       // number and counter of the newest frame: a part or a repeat
	repeat
	late
	reboot
)

const (
	remembered = sample.LeastHeard // frames; a power of two
	mostPerMs  = 10                // frames that a device can send in a millisecond
	settling   = 1000              // milliseconds allowed on top of a leap's time

	// Where the nominal rate is known, a leap is a gap only if the frames could
	// have been sent since the one before, at half as much again as the rate and
	// some more: leapSlack of them in time, or leapLeast in number.
	leapSlack = 10 * time.Second
	leapLeast = 10

	// Repeats of at least so many frames and so long, at the device's pace, are
	// a reboot; from one to the next the number goes up by so much at most.
	runFrames, runSteps = 8, 8
	runTime             = time.Second

	// After half a turn of the counter its order means nothing.
	longSilent = (1 << 31) * time.Millisecond
)

// A sequence knows the newest frame and which of the last ones were received.
type sequence struct {
	period  time.Duration  // nominal, between scans; 0 if it is not stated
	began   received       // the first frame since the reboot
	since   sample.Instant // its arrival
	begun   bool
	first   uint32 // number of the first frame since the reboot
	seq, ms uint32 // of the newest frame
	arrival sample.Instant
	ring    [remembered]received

	stored received // the newest stored frame
	run    run
}

// A run is an unbroken row of repeats in their order.
type run struct {
	n       int
	seq     uint32 // of the newest
	ms      uint32 // of the first
	arrival sample.Instant
}

// A received frame. Its digest is of its readings, which are those of the
// channels from first on; 0 where that is not known. First is noReadings of a
// frame that has none.
type received struct {
	yes     bool
	seq, ms uint32
	first   int
	digest  uint32
}

func receivedOf(f *frame.Frame) received {
	r := received{yes: true, seq: f.Seq, ms: f.Millis, first: f.First, digest: digest(f.Readings)}
	if f.Kind != frame.Readings {
		r.first = noReadings
	}
	return r
}

// What stands for first where a frame has no readings, and where it is not known
// which it has.
const noReadings, anyReadings = -2, -1

// differs reports whether two frames with one number and one counter have
// different readings, as far as that is known: then they are not the same frame.
func (r *received) differs(o *received) bool {
	return r.digest != 0 && o.digest != 0 && r.first == o.first && r.digest != o.digest
}

// mostDigested is how many readings of a frame are looked at to tell it from
// another one with the same number and counter.
const mostDigested = 64

// digest makes a number of readings, from all over the frame, that two frames
// with different readings hardly share (FNV-1a, 32 bits, over 64-bit words); 0
// for none.
func digest(readings []float64) uint32 {
	if len(readings) == 0 {
		return 0
	}
	h := uint64(14695981039346656037)
	for i := 0; i < len(readings); i += 1 + len(readings)/mostDigested {
		h = (h ^ math.Float64bits(readings[i])) * 1099511628211
	}
	return max(uint32(h>>32)^uint32(h), 1)
}

// judge says what a live frame is, and records it unless it is a reboot: then
// the sequence must begin anew. Gap is how many frames are missing before it. A
// status may come between the parts of a scan, whose counter is behind its own:
// with readings false, the counter is not one that the next must be ahead of.
func (s *sequence) judge(this received, readings bool, arrival sample.Instant) (p place, gap uint32) {
	seq, ms := this.seq, this.ms
	ahead, onward := int32(seq-s.seq), int32(ms-s.ms)
	switch {
	case !s.begun:
		return reboot, 0
	case onward < 0 && ahead >= 0 && arrival.Sub(s.arrival) < longSilent:
		return reboot, 0
	case ahead == 0 && onward == 0:
		return same, 0
	case ahead >= 0:
		if !possible(uint32(ahead), ms-s.ms) || s.beyond(uint32(ahead), ms, arrival) {
			return reboot, 0
		}
		s.run.n = 0
		if s.seq, s.arrival = seq, arrival; readings {
			s.ms = ms
		}
		s.record(this)
		return next, uint32(max(ahead, 1)) - 1
	}
	switch r := s.ring[seq%remembered]; {
	case r.is(seq) && r.ms == ms:
		if r.differs(&this) || s.starting(seq, ms, arrival) {
			return reboot, 0
		}
		return repeat, 0
	case s.fits(seq, ms):
		s.record(this)
		s.run.n = 0
		return late, 0
	}
	return reboot, 0
}

// judgeStored says what a stored frame is that has a time: next, late, the same
// as the stored one before, or a repeat.
func (s *sequence) judgeStored(seq, ms uint32, arrival sample.Instant) (p place, gap uint32) {
	this := received{yes: true, seq: seq, ms: ms}
	if s.stored == this {
		return same, 0
	}
	s.stored = this
	ahead := int32(seq - s.seq)
	switch r := s.ring[seq%remembered]; {
	case ahead > 0 && s.follows(uint32(ahead), ms):
		s.seq, s.arrival = seq, arrival
		s.record(this)
		return next, uint32(ahead) - 1
	case r.is(seq) && r.ms == ms:
		return repeat, 0
	case ahead <= 0 && ahead > -remembered:
		s.record(this)
	}
	return late, 0
}

// begin starts the sequence with its first frame.
func (s *sequence) begin(this received, arrival sample.Instant) {
	*s = sequence{period: s.period, begun: true, first: this.seq, seq: this.seq, ms: this.ms, arrival: arrival, since: arrival}
	s.began = this
	s.record(this)
}

func (s *sequence) record(this received) { s.ring[this.seq%remembered] = this }

// fits reports whether a frame is one that is missing among the last ones.
func (s *sequence) fits(seq, ms uint32) bool {
	behind := s.seq - seq
	if behind >= remembered || int32(seq-s.first) <= 0 || s.ring[seq%remembered].is(seq) {
		return false
	}
	after := seq + 1
	for !s.ring[after%remembered].is(after) {
		after++ // the newest is there, so this ends
	}
	before := seq - 1
	for !s.ring[before%remembered].is(before) {
		if before--; s.seq-before >= remembered {
			return false
		}
	}
	lo, hi := s.ring[before%remembered].ms, s.ring[after%remembered].ms
	return int32(ms-lo) >= 0 && int32(hi-ms) >= 0
}

func (r received) is(seq uint32) bool { return r.yes && r.seq == seq }

// possible reports whether a device can number that many frames in that many
// milliseconds.
func possible(leap, ms uint32) bool { return uint64(leap) <= mostPerMs*(uint64(ms)+settling) }

// beyond reports whether a leap is longer than the time since the newest frame
// can explain, by the device's counter or the arrivals, whichever is longer. The
// pace of the numbers is the nominal one, or that so far where it is higher: a
// scan may take several frames, and a device may be faster than is said.
func (s *sequence) beyond(leap, ms uint32, arrival sample.Instant) bool {
	if s.period <= 0 {
		return false
	}
	longer := func(ms uint32, by time.Duration) float64 {
		return max(time.Duration(ms)*time.Millisecond, by).Seconds()
	}
	pace := 1 / s.period.Seconds()
	if over := longer(s.ms-s.began.ms, s.arrival.Sub(s.since)); over >= 1 {
		pace = max(pace, float64(s.seq-s.first)/over)
	}
	most := 1.5*pace*longer(ms-s.ms, arrival.Sub(s.arrival)) + max(pace*leapSlack.Seconds(), leapLeast)
	return float64(leap) > most
}

// follows reports whether a stored frame that many numbers ahead moves the
// sequence forward: where frames are numbered when they are recorded, its counter
// is ahead as well; where they are numbered when they are sent, its number is
// near. Neither is so for a frame of an earlier boot.
func (s *sequence) follows(ahead, ms uint32) bool {
	return ahead < remembered || int32(ms-s.ms) >= 0 && possible(ahead, ms-s.ms)
}

// starting reports whether a run of repeats is a device that counts from its
// start again.
func (s *sequence) starting(seq, ms uint32, arrival sample.Instant) bool {
	r := &s.run
	if r.n == 0 || seq-r.seq-1 >= runSteps {
		*r = run{n: 1, seq: seq, ms: ms, arrival: arrival}
		return false
	}
	r.n, r.seq = r.n+1, seq
	counted := time.Duration(int32(ms-r.ms)) * time.Millisecond
	took := arrival.Sub(r.arrival)
	if r.n < runFrames {
		return false
	}
	// A counter that is of no use does not tell; the arrivals must.
	return counted >= runTime && (took-counted).Abs() <= counted/2 || took >= paceOver && counted <= took/500
}

// step moves arrivals with the host's clock.
func (s *sequence) step(by time.Duration) {
	s.arrival, s.since, s.run.arrival = s.arrival.Add(by), s.since.Add(by), s.run.arrival.Add(by)
}
