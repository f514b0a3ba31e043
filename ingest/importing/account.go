package importing

import (
	"time"

	"weald/ingest"
	"weald/ingest/frame"
	"weald/ingest/sample"
)

// An Account is what became of one recording.
type Account struct {
	Bridge  string
	Format  string
	Input   string // path of the recording
	Capture bool   // the recording is a capture
	Bytes   int64  // that it has

	Frames   uint64                  // or rows, taken
	Refused  map[frame.Reason]uint64 // frames or rows, by reason; never nil
	Problems []Problem               // the first of them

	// Wide counts the rows among those taken that are wider than the others.
	Wide ingest.WideRows

	Damaged []string // what is wrong with the records of a capture, the first of them
	Records uint64   // damaged ones, and 1 for a capture that was cut short

	Sources []Source // as configured
	Unknown []Unknown
	Steps   []Step // of clocks, the first of them

	Output  string // path of the new capture; empty where none was written
	Written int64  // bytes in it
}

// RefusedFrames is the number of refused frames of every reason.
func (a *Account) RefusedFrames() (n uint64) {
	for _, k := range a.Refused {
		n += k
	}
	return n
}

// Clean reports whether nothing at all was refused, and no row was wider than
// the others.
func (a *Account) Clean() bool {
	return a.RefusedFrames() == 0 && a.Records == 0 && a.Wide.Rows == 0
}

// A Problem is one refused frame or row.
type Problem struct {
	Line   int            // from 1; 0 for binary formats
	Column int            // of the byte in the line, from 1; 0 unknown
	Byte   int64          // where its piece begins in the file; -1 for captures
	At     sample.Instant // arrival of what came before; sample.Past for the first
	Reason frame.Reason
	Text   string // the reason, and what is wrong in words
}

// A Source is what a recording holds of one configured source.
type Source struct {
	ID    string
	Scans uint64

	First, Last sample.Instant // event times; Never and Past where there are no scans

	Missing  uint64 // frames that the sequence numbers say were lost
	Repeats  uint64 // frames that came again
	Late     uint64 // frames that were overtaken, rows before a time that came already
	Partial  uint64 // scans from which readings are missing
	Damaged  uint64 // scans withheld as damaged at the source
	Stored   uint64 // frames that the device kept and sent later
	Unplaced uint64 // of them, dropped as their time is not known
	Restarts int    // of the device's clock

	Pauses      uint64        // silences longer than the values last
	Silent      time.Duration // all of them together
	StepsBack   uint64        // rows before the row above
	StandStills uint64        // rows with the very time of the row above

	// Rows whose local time is in an hour that comes twice, when clocks go
	// back: read as the first pass, and as the second.
	FirstPass, SecondPass uint64
}

// Unknown is a source that the configuration lacks.
type Unknown struct {
	Number uint16
	Frames uint64
}

// A Step is where the times of a source do not simply go on.
type Step struct {
	Source   string
	Line     int   // of the row after it; 0 for binary formats and captures
	Byte     int64 // where the piece after it begins; -1 for captures
	From, To sample.Instant
	Hour     bool // its size is an hour, give or take a few seconds
}

// By is how far the step goes, back if negative.
func (s *Step) By() time.Duration { return s.To.Sub(s.From) }
