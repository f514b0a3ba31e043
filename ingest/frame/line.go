package frame

import "weald/ingest/sample"

// The limits of the line format.
const (
	lineVersion     = "w1"
	maxLine         = 4096 // bytes, without the line ending
	maxLineReadings = 512
	maxLineReading  = 65534
)

// Line decodes the line format:
//
//	w1,<source>,<seq>,<ms>,<v0>,<v1>,…*HH
//
// ended by "\n" or "\r\n". Decoding does not allocate. Every line that is not
// a frame is refused, an empty one too, and costs no other line.
type Line struct {
	lines
	f        Frame
	bad      Bad
	readings [maxLineReadings]float64
}

// NewLine returns a decoder for one connection.
func NewLine() *Line {
	d := &Line{lines: newLines(maxLine, maxLine+len("\r"))}
	d.decode, d.overlong = d.whole, d.tooLong
	return d
}

func (d *Line) whole(b []byte, h Handler) {
	if reason, detail, at := d.parse(b); reason != "" {
		d.refuse(h, reason, detail, at+1)
		return
	}
	h.Frame(&d.f)
}

func (d *Line) tooLong(h Handler) { d.refuse(h, BadLength, "longer than 4096 bytes", 0) }

func (d *Line) refuse(h Handler, r Reason, detail string, column int) {
	d.bad = Bad{Reason: r, Detail: detail, Line: d.line, Column: column}
	h.Bad(&d.bad)
}

// parse fills d.f from b, a line without its ending, or says why it cannot and
// at which byte. The checksum comes first: no field of a damaged line can be
// believed.
func (d *Line) parse(b []byte) (Reason, string, int) {
	star := len(b) - len("*HH")
	if star < 0 || b[star] != '*' {
		return BadChecksum, "no checksum at the end", len(b)
	}
	hi, lo := hexDigit(b[star+1]), hexDigit(b[star+2])
	if hi|lo > 0xF {
		return BadChecksum, "a checksum that is not two upper-case hex digits", star + 1
	}
	b = b[:star]
	if xor(b) != hi<<4|lo {
		return BadChecksum, "a wrong checksum", star + 1
	}

	end := fieldEnd(b, 0)
	if string(b[:end]) != lineVersion {
		return BadVersion, "a line that does not start with w1", 0
	}
	var head [3]uint64
	limits := [3]uint64{1<<16 - 1, 1<<32 - 1, 1<<32 - 1}
	details := [3]string{"a source that is not 0…65535", "a sequence number that is not 0…4294967295", "a time that is not 0…4294967295"}
	for i := range head {
		if end == len(b) {
			return BadFields, "no source, sequence number, time and reading", end
		}
		var reason Reason
		at := end + 1
		if head[i], end, reason = number(b, at, limits[i]); reason != "" {
			return reason, details[i], at
		}
	}
	if end == len(b) {
		return BadFields, "no readings", end
	}
	n := 0
	for end < len(b) {
		if n == maxLineReadings {
			return BadFields, "more than 512 readings", end
		}
		at := end + 1
		if at == len(b) || b[at] == ',' {
			d.readings[n], end = sample.Unknown, at
		} else {
			v, e, reason := number(b, at, maxLineReading)
			if reason != "" {
				return reason, "a reading that is not 0…65534 or empty", at
			}
			d.readings[n], end = float64(v), e
		}
		n++
	}
	d.f = Frame{
		Kind:     Readings,
		Source:   uint16(head[0]),
		Seq:      uint32(head[1]),
		Millis:   uint32(head[2]),
		Wall:     sample.Never,
		Readings: d.readings[:n],
	}
	return "", "", 0
}

// number reads the decimal digits of the field of b that starts at i, and
// returns their value and where the field ends.
func number(b []byte, i int, limit uint64) (v uint64, end int, bad Reason) {
	start := i
	for ; i < len(b) && b[i] != ','; i++ {
		c := b[i] - '0'
		if c > 9 {
			return 0, 0, BadNumber
		}
		v = min(v*10+uint64(c), limit+1) // stays there: the limits are far below 2^60
	}
	switch {
	case i == start:
		return 0, 0, BadNumber
	case v > limit:
		return 0, 0, BadRange
	}
	return v, i, ""
}

// fieldEnd returns the index of the first comma of b at or after i, or len(b).
func fieldEnd(b []byte, i int) int {
	for i < len(b) && b[i] != ',' {
		i++
	}
	return i
}

// hexDigit returns the value of an upper-case hex digit, or 0xFF.
func hexDigit(c byte) byte {
	switch {
	case '0' <= c && c <= '9':
		return c - '0'
	case 'A' <= c && c <= 'F':
		return c - 'A' + 10
	}
	return 0xFF
}

// xor returns the exclusive or of all bytes of b: the checksum of NMEA 0183.
func xor(b []byte) byte {
	var x byte
	for _, c := range b {
		x ^= c
	}
	return x
}
