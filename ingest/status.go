package ingest

import (
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
	Frames   uint64 // good ones, of every source
	LastGood sample.Instant
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

	Frames  uint64
	Scans   uint64 // handed on
	Gaps    uint64 // frames that the sequence numbers say were lost
	Repeats uint64 // frames that came again, dropped
	Late    uint64 // frames older than one already handed on
	Partial uint64 // scans with parts that never came
	Damaged uint64 // scans that were kept back as damaged at the source
	Stored  uint64 // scans that the bridge kept and sent later

	LastScan sample.Instant // event time; Past before the first
	LastSeen sample.Instant // arrival of the last frame

	// The device's clock against the daemon's.
	Epochs  int           // 1 after the first frame; more tell of reboots
	Offset  time.Duration // of the last scan: arrival minus event time
	SkewPPM float64       // how much too fast the device's clock runs; NaN not known yet

	Rate    float64 // scans a second, measured; NaN not known yet
	Nominal float64 // as configured; 0 where it is not

	// Health is what the source last said of itself; HealthAt is Past where
	// it has said nothing.
	Health   frame.Health
	HealthAt sample.Instant

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
	Readings []float64 // the first few of its latest frame, raw
}

// CaptureStatus is about the capture of raw bytes.
type CaptureStatus struct {
	File  string // empty: nothing is captured
	Bytes int64
	Error string // why capturing stopped, empty if it did not
}
