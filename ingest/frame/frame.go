package frame

import "weald/ingest/sample"

// Kind says what a frame carries.
type Kind uint8

// The kinds of frame; the numbers are those of the packed format.
const (
	Readings Kind = 1
	Status   Kind = 2
)

// A Frame is one message of a source. It belongs to the decoder and is valid
// only until the callback that received it returns.
type Frame struct {
	Kind   Kind
	Source uint16 // number of the source behind the bridge
	Seq    uint32 // counts frames of this source, wraps
	Millis uint32 // the device's own counter in ms, wraps

	// Wall is the row's own time for the delimited format, sample.Never for
	// the formats that carry a device counter instead.
	Wall sample.Instant

	First    int       // channel of the first reading
	Readings []float64 // as delivered; NaN is "no reading"
	Top      float64   // the largest value that the coding can carry short of the reserved one; 0 when the format has none
	More     bool      // more frames of the same scan follow
	Stored   bool      // recorded earlier, sent late
	Wide     Width     // of a delimited row that is wider than it should be; else zero

	Health Health // for Kind Status
}

// Health is what a bridge says about a source in a status frame.
type Health struct {
	BatteryMV      int    // millivolts, -1 unknown
	BatteryPercent int    // 0..100, -1 unknown
	Celsius        int    // degrees, NoCelsius unknown
	UptimeS        uint32 // seconds since the device started
	Firmware       string
}

// A Width tells of a delimited row that has more columns than were to be
// expected, where nobody has said how many there are: its values may be others
// than they look, as where decimal commas stand between commas.
type Width struct {
	Columns int // that the row has, empty ones at its end apart; 0: nothing is odd
	Usual   int // that the first accepted row has, or the header if it has fewer
	Line    int // of the row, from 1
}

// NoCelsius is the temperature of a source that does not know it.
const NoCelsius = -128

// A Reason says why bytes were refused. It is a label of a metric, so the set
// is closed and small.
type Reason string

// Why a frame was refused.
const (
	BadChecksum Reason = "checksum" // line: missing or wrong; packed: CRC
	BadVersion  Reason = "version"  // not a version that we know
	BadNumber   Reason = "number"   // a field that is not a number
	BadRange    Reason = "range"    // a number that does not fit its field
	BadFields   Reason = "fields"   // too few or too many fields or readings
	BadLength   Reason = "length"   // too long, too short, or cut
	BadCoding   Reason = "coding"   // unknown kind or coding, or broken COBS
	BadTime     Reason = "time"     // delimited: a time that cannot be read
	BadChannel  Reason = "channel"  // readings beyond the source's channels
	BadSource   Reason = "source"   // a source that the configuration lacks
)

// Bad is a refused frame.
type Bad struct {
	Reason Reason
	Detail string // for people; may be empty
	Line   int    // text formats: 1-based line, 0 unknown
	Column int    // text formats: 1-based byte column, 0 unknown
}

// Error says what was wrong in words.
func (b *Bad) Error() string {
	if b.Detail == "" {
		return string(b.Reason)
	}
	return string(b.Reason) + ": " + b.Detail
}

// A Handler receives what a decoder finds. Neither argument may be kept.
type Handler interface {
	Frame(*Frame)
	Bad(*Bad)
}

// A Decoder takes the bytes of one connection.
//
// Feed may be called with any cut of a byte stream. Message is for links that
// keep messages whole (one MQTT message, one notification). Flush ends the
// input: what is left of a text line is taken as a line, what is left of a
// packed frame is refused. Reset forgets a half-received frame, for a new
// connection.
type Decoder interface {
	Feed(p []byte, h Handler)
	Message(p []byte, h Handler)
	Flush(h Handler)
	Reset()
}
