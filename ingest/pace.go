package ingest

import (
	"time"

	"weald/ingest/frame"
	"weald/ingest/sample"
)

// Of a recording that has the device's counter and nobody's arrival.
const (
	// longestPause is the longest silence that the counter is believed; beyond
	// it the device is taken to have restarted.
	longestPause = 24 * time.Hour

	// overtakenBy is how many frames one may be behind the newest and still be
	// one that was overtaken or sent twice.
	overtakenBy = 256

	// restartPause stands for the time a device was off that has no nominal
	// period: nothing in the recording tells how long it was.
	restartPause = time.Second
)

// A pacer says when the frames of a source arrived that are recorded without
// arrivals: as far apart as the device's counter says. Where the counter falls
// back the device has restarted, and time goes on by one nominal period, for
// it never stands still and never runs back. Where the counter stands still,
// the scans are one nominal period apart.
type pacer struct {
	period time.Duration // nominal; 0 if it is not stated

	begun   bool
	seq, ms uint32 // of the newest frame
	first   int    // its first channel
	at      sample.Instant
	same    uint32 // how far the numbers went on since the counter moved

	behind struct { // the frame before, if it was older than the newest
		yes bool
		ms  uint32
	}
}

// arrives says when f arrived, given that the bytes before it, of whatever
// source, arrived at now.
func (p *pacer) arrives(f *frame.Frame, now sample.Instant) sample.Instant {
	ahead, pause := int32(f.Seq-p.seq), time.Duration(int32(f.Millis-p.ms))*time.Millisecond
	switch {
	case f.Stored:
		return now // its counter is of another time
	case !p.begun:
		return p.set(f, max(now, 0)) // the first of all arrives at 0
	case pause > longestPause, pause < 0 && (ahead >= 0 || ahead <= -overtakenBy):
		return p.set(f, max(now, p.at.Add(p.step())))
	case pause < 0:
		return p.older(f, now)
	case f.Kind == frame.Status:
		// The parts of a scan that it came between are older than it.
		return max(now, p.at.Add(pause))
	case pause == 0 && ahead > 0 && f.First == p.first && p.period > 0:
		p.same += uint32(ahead)
		p.seq = f.Seq
		return max(now, p.at.Add(time.Duration(p.same)*p.period))
	case pause == 0:
		if ahead > 0 {
			p.seq = f.Seq
		}
		return now
	}
	return p.set(f, max(now, p.at.Add(pause)))
}

// set makes f the newest frame.
func (p *pacer) set(f *frame.Frame, at sample.Instant) sample.Instant {
	p.begun, p.seq, p.ms, p.first, p.at, p.same = true, f.Seq, f.Millis, f.First, at, 0
	p.behind.yes = false
	return at
}

// older takes a frame that is a little behind. One alone was overtaken, and time
// stands still. Several in their order may be a device that restarted before it
// had come far: they are as far apart as they say, by which the assembler knows.
func (p *pacer) older(f *frame.Frame, now sample.Instant) sample.Instant {
	between := time.Duration(int32(f.Millis-p.behind.ms)) * time.Millisecond
	if p.behind.yes && between > 0 {
		now = now.Add(between)
	}
	p.behind.yes, p.behind.ms = true, f.Millis
	return now
}

// restarted says that the assembler took f for the first after a restart.
func (p *pacer) restarted(f *frame.Frame, at sample.Instant) { p.set(f, at) }

func (p *pacer) step() time.Duration {
	if p.period > 0 {
		return p.period
	}
	return restartPause
}
