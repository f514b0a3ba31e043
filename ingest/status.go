package ingest

import (
	"maps"
	"slices"
	"time"

	"weald/ingest/frame"
	"weald/ingest/sample"
)

// A LinkState says what a bridge's link is doing.
type LinkState string

// The states of a link.
const (
	Connecting LinkState = "connecting" // Open has not returned
	Open       LinkState = "open"       // bytes may arrive
	Waiting    LinkState = "waiting"    // lost or never had; Status.NextTry says when it is tried again
	Ended      LinkState = "ended"      // a finite link said everything
	Stopped    LinkState = "stopped"    // Run has not begun or has returned
)

// Status is what is known about a bridge at one moment. It is a copy: nobody
// else holds a part of it. All instants are of the daemon's clock, and
// sample.Past stands for "never so far".
type Status struct {
	Bridge string // ID
	Link   string // the link's name, for people
	Format string

	State   LinkState
	Since   sample.Instant // when State began
	NextTry sample.Instant // while Waiting; sample.Never otherwise
	Opened  uint64         // connections so far

	// Trouble is what is wrong now, in plain words that say what to do, and
	// TroubleSince when that began. Empty: all is well as far as the bridge
	// itself can tell; single sources may still have a Trouble of their own.
	Trouble      string
	TroubleSince sample.Instant

	Bytes    uint64
	LastByte sample.Instant
	Frames   uint64                  // good ones of configured sources
	LastGood sample.Instant          // of any source
	Bad      map[frame.Reason]uint64 // refused frames by reason; never nil
	LastBad  string                  // what was wrong with the latest, empty if none

	Sources []SourceStatus // in the order of the configuration

	// Unknown lists sources that send and are not configured, the first
	// maxUnknown of them; MoreUnknown counts the frames of further ones.
	Unknown     []UnknownSource
	MoreUnknown uint64

	Capture CaptureStatus
}

// BadFrames is the number of refused frames of every reason.
func (s *Status) BadFrames() (n uint64) {
	for _, k := range s.Bad {
		n += k
	}
	return n
}

// SourceStatus is what is known about one configured source.
type SourceStatus struct {
	ID     string // "bridge/source"
	Number uint16
	Index  int // sample.Scan.Source

	Frames    uint64 // accepted
	Scans     uint64 // handed on
	Gaps      uint64 // frames that the sequence numbers say were lost
	Repeats   uint64 // frames that came again, dropped
	Late      uint64 // frames that were overtaken, rows that go back in time
	Partial   uint64 // scans from which readings are missing
	Damaged   uint64 // scans whose readings were withheld as damaged at the source
	Stored    uint64 // frames that the bridge kept and sent later
	Unplaced  uint64 // of them, dropped because their time is not known
	Saturated int    // readings at the rail in the newest scan
	Channels  int    // that its newest whole scan had; 0 before it

	LastScan sample.Instant // event time of the newest live scan; Past before it
	LastSeen sample.Instant // arrival of the last frame

	// The device's clock against the daemon's.
	Epochs   int           // 1 after the first frame; more tell of restarts, or of a logger's clock that was set
	Restarts int           // of the device, as far as its counter and its numbers tell
	Offset   time.Duration // the daemon's clock minus the device's counter, or minus the time in a logger's rows
	SkewPPM  float64       // how much too fast the device's clock runs; NaN not known yet

	// Counter says why the device's counter is of no use and what that means,
	// empty if it is: then scans are judged at the time of their arrival.
	Counter string

	Rate    float64 // scans a second, measured; NaN not known yet, or silent now
	Nominal float64 // as configured; 0 where it is not

	// Health is what the source last said of itself, or its link of it;
	// HealthAt is Past where neither has said anything.
	Health   frame.Health
	HealthAt sample.Instant

	// Condition is what the daemon itself has found out about channels and
	// battery. Withheld counts the readings that were left out of the values,
	// as they came from channels that do not answer.
	Condition Condition
	Withheld  uint64

	// Trouble is what is wrong with this source, in plain words; empty if
	// nothing is.
	Trouble string
}

// maxUnknown bounds what noise that looks like frames can make us remember.
const maxUnknown = 32

// UnknownSource is a source that the configuration lacks. Its readings go
// nowhere.
type UnknownSource struct {
	Number   uint16
	Frames   uint64
	First    sample.Instant // arrival of its first frame
	Last     sample.Instant
	Channels int       // as many as its frames have shown
	Earliest []float64 // the first few channels of its first scan, raw
	Readings []float64 // those of its latest
}

// CaptureStatus is about the capture of raw bytes.
type CaptureStatus struct {
	File  string // empty: nothing is captured
	Bytes int64
	Error string // why capturing stopped, empty if it did not
}

// clone copies s so that no part is shared.
func (s *Status) clone() Status {
	c := *s
	c.Bad = maps.Clone(s.Bad)
	c.Sources = slices.Clone(s.Sources)
	for i := range c.Sources {
		c.Sources[i].Condition = c.Sources[i].Condition.clone()
	}
	c.Unknown = slices.Clone(s.Unknown)
	for i := range c.Unknown {
		c.Unknown[i].Readings = slices.Clone(s.Unknown[i].Readings)
	}
	return c
}
