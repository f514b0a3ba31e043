package record

import (
	"errors"
	"fmt"
	"math"

	"weald/ingest/sample"
)

// A Scan is one scan as it came from its bridge, before calibration: what has
// to be known to have every value of it again.
type Scan struct {
	// Ord is its place among all inputs of the rules engine, from 1.
	Ord uint64
	// At is event time; Arrived is when the daemon had the whole scan.
	At, Arrived sample.Instant
	// Seq is the sequence number of the scan's last frame, First that of its
	// first.
	Seq, First uint32
	// Millis is what the device's counter said; Counted is false where that is
	// not known. First and Millis then mean nothing.
	Millis  uint32
	Counted bool
	// Stored says that the bridge kept the scan and sent it later; Damaged,
	// that it looked damaged and none of its values was believed.
	Stored, Damaged bool
	// Battery is the level of the source's battery as it was known then.
	Battery sample.Charge
	// Rail is the raw reading at and above which a channel is saturated; NaN
	// where there is none. It is usually the same in all scans of a block.
	Rail float64
	// Raw has one entry a channel as the bridge delivered it, NaN where
	// nothing was delivered.
	Raw []float64
}

// ScanOf returns what is kept of a scan, in room where that is enough. Readings that its
// signals did without, although they were delivered, are left out: whoever judges it again
// must do without them too.
func ScanOf(s *sample.Scan, room []float64) Scan {
	out := Scan{
		At: s.At, Arrived: s.Arrived, Seq: s.Seq,
		First: s.First, Millis: s.Millis, Counted: s.Counted,
		Stored: s.Stored, Damaged: s.Damaged, Battery: s.Battery, Rail: s.Rail, Raw: append(room[:0], s.Raw...),
	}
	for _, i := range s.Withheld {
		out.Raw[i] = sample.Unknown
	}
	return out
}

// Head returns the scan without its readings: what ScanOf was told of it beside them.
func (s *Scan) Head() sample.Scan {
	return sample.Scan{
		At: s.At, Arrived: s.Arrived, Seq: s.Seq, First: s.First, Millis: s.Millis, Counted: s.Counted,
		Stored: s.Stored, Damaged: s.Damaged, Battery: s.Battery, Rail: s.Rail,
	}
}

// A Block is some consecutive scans of one source: those of about one second,
// or ten scans of a source that is slower than ten a second, which grow to be ten
// while they come.
type Block struct {
	// Source is "bridge/source".
	Source string
	// Number counts the blocks of a source without holes, from 1. The journal
	// gives it when it keeps the block.
	Number uint64
	// After is the last ordinal of the block before it, 0 if there is none, or
	// none that is known of. The journal gives it too: a block may grow, and
	// only the next one says for certain how long it had become.
	After uint64
	// Config is the version of the configuration in force.
	Config uint64
	// Scans have ascending ordinals and the same number of channels.
	Scans []Scan

	// Of one that was opened: its readings as they are kept, and how many a scan
	// has; then all of them in one piece.
	packed   []byte
	channels int
	readings []float64
}

// Bounds of a block. They are far beyond every real one, and keep a damaged or
// hostile one from asking for all memory.
const (
	MaxChannels = 1 << 16
	MaxReadings = 1 << 22 // channels times scans
	MaxSource   = 1 << 10 // bytes of a source's name
)

// ErrInvalid is wrapped by the errors of things that cannot be kept because
// they contradict themselves.
var ErrInvalid = errors.New("cannot be kept")

// Check returns an error that wraps ErrInvalid if b cannot be encoded: no scan
// at all, ordinals that do not ascend, scans of different length, or bounds
// that are passed.
func (b *Block) Check() error {
	bad := func(format string, args ...any) error {
		return fmt.Errorf("block of %q %w: %s", b.Source, ErrInvalid, fmt.Sprintf(format, args...))
	}
	switch {
	case b.Source == "":
		return bad("it names no source")
	case len(b.Source) > MaxSource:
		return bad("its source's name has %d bytes, the most is %d", len(b.Source), MaxSource)
	case len(b.Scans) == 0:
		return bad("it has no scan")
	case len(b.Scans[0].Raw) > MaxChannels:
		return bad("it has %d channels, the most is %d", len(b.Scans[0].Raw), MaxChannels)
	case len(b.Scans)*max(1, len(b.Scans[0].Raw)) > MaxReadings:
		return bad("it has more than %d readings", MaxReadings)
	}
	for i := range b.Scans {
		s := &b.Scans[i]
		if len(s.Raw) != len(b.Scans[0].Raw) {
			return bad("scan %d has %d channels, the first has %d", i, len(s.Raw), len(b.Scans[0].Raw))
		}
		if i == 0 && s.Ord <= b.After || i > 0 && s.Ord <= b.Scans[i-1].Ord {
			return bad("scan %d has ordinal %d, which does not ascend", i, s.Ord)
		}
	}
	return nil
}

// Ords returns the ordinals of the first and the last scan.
func (b *Block) Ords() (first, last uint64) {
	return b.Scans[0].Ord, b.Scans[len(b.Scans)-1].Ord
}

// Span returns the earliest and the latest event time.
func (b *Block) Span() (first, last sample.Instant) {
	first, last = b.Scans[0].At, b.Scans[0].At
	for i := range b.Scans {
		first, last = min(first, b.Scans[i].At), max(last, b.Scans[i].At)
	}
	return first, last
}

// Equal reports whether b and c are the same but for what the journal gives
// them. A missing reading equals a missing reading.
func (b *Block) Equal(c *Block) bool {
	return len(b.Scans) == len(c.Scans) && b.Begins(c)
}

// Begins reports whether the scans of b are the first of c.
func (b *Block) Begins(c *Block) bool {
	if b.Source != c.Source || b.Config != c.Config || len(b.Scans) > len(c.Scans) {
		return false
	}
	for i := range b.Scans {
		if !b.Scans[i].equal(&c.Scans[i]) {
			return false
		}
	}
	return true
}

func (s *Scan) equal(o *Scan) bool {
	if s.Ord != o.Ord || s.At != o.At || s.Arrived != o.Arrived || s.Seq != o.Seq ||
		s.Counted != o.Counted || s.Counted && (s.First != o.First || s.Millis != o.Millis) ||
		s.Battery != o.Battery || s.Stored != o.Stored || s.Damaged != o.Damaged || !same(s.Rail, o.Rail) || len(s.Raw) != len(o.Raw) {
		return false
	}
	for i := range s.Raw {
		if !same(s.Raw[i], o.Raw[i]) {
			return false
		}
	}
	return true
}

// same reports whether two numbers are one: to the last bit, and for the
// numbers that are none, whatever their bits.
func same(a, b float64) bool {
	return math.Float64bits(a) == math.Float64bits(b) || a != a && b != b
}

// A Tick tells the engine that time has passed where no scan did.
type Tick struct {
	Ord   uint64
	Place string // empty for all places
	At    sample.Instant
}

// An Input is one input of the rules engine. Exactly one of Scan, Tick and
// Entry is set.
type Input struct {
	Ord   uint64
	Scan  *Scan
	Tick  *Tick
	Entry *Entry

	// Source and Config belong to Scan; see Block. Spent comes with the last scan of a
	// block, where the journal has a use for the room that its readings take: it may be
	// called by who needs none of them any more. Else it is nil.
	Source string
	Config uint64
	Spent  func()
}
