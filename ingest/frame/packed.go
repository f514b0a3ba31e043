package frame

import (
	"encoding/binary"
	"hash/crc32"

	"weald/ingest/sample"
)

// MaxPacked is the longest packed frame in bytes, before COBS.
const MaxPacked = 8192

// The layout of a packed frame, little endian.
const (
	packedVersion = 1
	headerLen     = 18
	crcLen        = 4

	flagMore   = 1 << 0
	flagStored = 1 << 1
)

// A Coding says how the readings of a packed frame are written.
type Coding uint8

// The codings; the numbers are those on the wire.
const (
	U16 Coding = 0 // 16 bits each, 0xFFFF is "no reading"
	U12 Coding = 1 // 12 bits each, two readings in three bytes
	U8  Coding = 2 // 8 bits each
)

// size returns how many bytes n readings take, or -1 for an unknown coding.
func (c Coding) size(n int) int {
	switch c {
	case U16:
		return 2 * n
	case U12:
		return n + (n+1)/2 // an odd last one takes two bytes
	case U8:
		return n
	}
	return -1
}

// top returns the Frame.Top of the coding.
func (c Coding) top() float64 {
	switch c {
	case U12:
		return 4095
	case U8:
		return 255
	}
	return 0
}

// castagnoli is the polynomial of CRC-32C.
var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// Packed decodes the packed format: COBS frames that end in 0x00 from Feed,
// bare frames from Message. Decoding does not allocate once the decoder has
// seen its longest frame.
//
// What the format does not define is refused and never skipped over: flag bits
// beyond the two, a status frame with readings fields, padding of an odd last
// 12-bit reading that is not zero. Any of them may one day change the meaning
// of the readings, and a guess about a pressure is worse than a frame counted
// as bad. So a frame that decodes has exactly one encoding per coding.
type Packed struct {
	cut  cutter
	work []byte // the frame at hand, decoded in place
	f    Frame
	bad  Bad
	read []float64 // backs f.Readings
	name string    // the last firmware name seen
}

// NewPacked returns a decoder for one connection.
func NewPacked() *Packed {
	longest := cobsMax(MaxPacked)
	return &Packed{
		cut:  newCutter(0, longest, longest),
		work: make([]byte, 0, longest),
		read: make([]float64, 0, 64),
	}
}

// Feed takes the next bytes of a stream. Two delimiters in a row are idle
// filling and count for nothing.
func (d *Packed) Feed(p []byte, h Handler) {
	for {
		enc, rest, what := d.cut.next(p)
		switch {
		case what == nothing:
			return
		case what == tooLong:
			d.refuse(h, BadLength, "longer than 8192 bytes")
		case len(enc) > 0:
			d.work = append(d.work[:0], enc...) // p is the caller's, and decoding writes
			if bare, ok := decodeCOBS(d.work, enc); ok {
				d.Message(bare, h)
			} else {
				d.refuse(h, BadCoding, "a COBS code points past the end")
			}
		}
		p = rest
	}
}

// Message takes one bare frame.
func (d *Packed) Message(p []byte, h Handler) {
	if reason, detail := d.parse(p); reason != "" {
		d.refuse(h, reason, detail)
		return
	}
	h.Frame(&d.f)
}

// Flush refuses a half-received frame.
func (d *Packed) Flush(h Handler) {
	if len(d.cut.take()) > 0 {
		d.refuse(h, BadLength, "cut by the end of the input")
	}
}

// Reset forgets a half-received frame.
func (d *Packed) Reset() { d.cut.reset() }

func (d *Packed) refuse(h Handler, r Reason, detail string) {
	d.bad = Bad{Reason: r, Detail: detail}
	h.Bad(&d.bad)
}

// parse fills d.f from the bare frame b, or says why it cannot.
//
// The CRC comes first: no other field of a damaged frame can be believed, not
// even the version. Only the length is then looked at once more, because a
// frame that was cut is worth telling from one that was garbled.
func (d *Packed) parse(b []byte) (Reason, string) {
	switch {
	case len(b) < headerLen+crcLen:
		return BadLength, "shorter than a header"
	case len(b) > MaxPacked:
		return BadLength, "longer than 8192 bytes"
	}
	body := b[:len(b)-crcLen]
	if crc32.Checksum(body, castagnoli) != binary.LittleEndian.Uint32(b[len(b)-crcLen:]) {
		if want := expectedLen(b); want >= 0 && want != len(b) {
			return BadLength, "length and count disagree, and the CRC is wrong"
		}
		return BadChecksum, "the CRC is wrong"
	}
	if b[0] != packedVersion {
		return BadVersion, "not version 1"
	}
	kind := Kind(b[1])
	if kind != Readings && kind != Status {
		return BadCoding, "neither readings nor status"
	}
	d.f = Frame{
		Kind:   kind,
		Source: binary.LittleEndian.Uint16(b[2:]),
		Seq:    binary.LittleEndian.Uint32(b[4:]),
		Millis: binary.LittleEndian.Uint32(b[8:]),
		Wall:   sample.Never,
	}
	if kind == Status {
		return d.parseStatus(body)
	}
	return d.parseReadings(body)
}

// parseReadings reads the readings of body, a frame without its CRC.
func (d *Packed) parseReadings(body []byte) (Reason, string) {
	count := int(binary.LittleEndian.Uint16(body[14:]))
	coding, flags, payload := Coding(body[16]), body[17], body[headerLen:]
	switch size := coding.size(count); {
	case size < 0:
		return BadCoding, "a coding other than 0, 1 and 2"
	case size != len(payload):
		return BadFields, "the count does not fit the payload"
	case flags&^(flagMore|flagStored) != 0:
		return BadFields, "flags that version 1 does not have"
	}
	if count > cap(d.read) {
		d.read = make([]float64, 0, count) // at most MaxPacked, as count fits the payload
	}
	readings := d.read[:count]
	switch coding {
	case U16:
		unpack16(readings, payload)
	case U12:
		if !unpack12(readings, payload) {
			return BadRange, "an odd last reading above 4095"
		}
	case U8:
		unpack8(readings, payload)
	}
	d.f.First = int(binary.LittleEndian.Uint16(body[12:]))
	d.f.Readings = readings
	d.f.Top = coding.top()
	d.f.More = flags&flagMore != 0
	d.f.Stored = flags&flagStored != 0
	return "", ""
}

// BareLen returns how long the bare packed frame is that b begins with, by what
// its first bytes say of it, or -1 where they make no sense or are too few.
func BareLen(b []byte) int {
	if len(b) < headerLen+crcLen || b[0] != packedVersion {
		return -1
	}
	if n := expectedLen(b); n <= MaxPacked {
		return n
	}
	return -1
}

// expectedLen returns the length that the fields of b ask for, or -1 where
// they make no sense. len(b) is at least headerLen + crcLen.
func expectedLen(b []byte) int {
	switch Kind(b[1]) {
	case Readings:
		size := Coding(b[16]).size(int(binary.LittleEndian.Uint16(b[14:])))
		if size < 0 {
			return -1
		}
		return headerLen + size + crcLen
	case Status:
		if len(b) < headerLen+statusLen+crcLen {
			return headerLen + statusLen + crcLen
		}
		return headerLen + statusLen + int(b[headerLen+statusLen-1]) + crcLen
	}
	return -1
}
