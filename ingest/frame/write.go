package frame

import (
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"math"
	"strconv"
)

// unfit says why f has no encoding.
func unfit(f *Frame, format string, args ...any) error {
	return fmt.Errorf("frame %d of source %d: %s", f.Seq, f.Source, fmt.Sprintf(format, args...))
}

// AppendLine appends f as one line with its "\r\n". f must be a whole scan of
// 1…512 readings, each a whole number 0…65534 or NaN for "no reading"; the
// format has no First, More or Stored. Where f has no encoding, dst comes back
// as it was, with an error.
func AppendLine(dst []byte, f *Frame) ([]byte, error) {
	switch {
	case f.Kind != Readings:
		return dst, unfit(f, "a line carries readings only")
	case f.First != 0 || f.More:
		return dst, unfit(f, "a line carries whole scans only")
	case f.Stored:
		return dst, unfit(f, "a line cannot say that it was stored")
	case len(f.Readings) == 0 || len(f.Readings) > maxLineReadings:
		return dst, unfit(f, "a line carries 1 to %d readings, not %d", maxLineReadings, len(f.Readings))
	}
	b := append(dst, lineVersion...)
	b = append(b, ',')
	b = strconv.AppendUint(b, uint64(f.Source), 10)
	b = append(b, ',')
	b = strconv.AppendUint(b, uint64(f.Seq), 10)
	b = append(b, ',')
	b = strconv.AppendUint(b, uint64(f.Millis), 10)
	for i, v := range f.Readings {
		b = append(b, ',')
		if math.IsNaN(v) {
			continue
		}
		n, ok := whole(v, maxLineReading)
		if !ok {
			return dst, unfit(f, "reading %d is %v, not a whole number 0 to %d", i, v, maxLineReading)
		}
		b = strconv.AppendUint(b, uint64(n), 10)
	}
	const hex = "0123456789ABCDEF"
	sum := xor(b[len(dst):])
	return append(b, '*', hex[sum>>4], hex[sum&15], '\r', '\n'), nil
}

// AppendPacked appends f as a bare packed frame; coding counts for Kind
// Readings only. Readings are whole numbers that fit the coding, and NaN only
// for U16. Where f has no encoding, dst comes back as it was, with an error.
func AppendPacked(dst []byte, f *Frame, coding Coding) ([]byte, error) {
	b := append(dst, packedVersion, byte(f.Kind))
	b = binary.LittleEndian.AppendUint16(b, f.Source)
	b = binary.LittleEndian.AppendUint32(b, f.Seq)
	b = binary.LittleEndian.AppendUint32(b, f.Millis)
	var err error
	switch f.Kind {
	case Readings:
		b, err = appendReadings(b, f, coding)
	case Status:
		b = append(b, 0, 0, 0, 0, 0, 0) // first, count, coding, flags
		b, err = appendStatus(b, f)
	default:
		err = unfit(f, "no kind %d", f.Kind)
	}
	if err != nil {
		return dst, err
	}
	if n := len(b) - len(dst) + crcLen; n > MaxPacked {
		return dst, unfit(f, "%d bytes are more than %d: split the scan", n, MaxPacked)
	}
	return binary.LittleEndian.AppendUint32(b, crc32.Checksum(b[len(dst):], castagnoli)), nil
}

// AppendWire appends f as it goes over a byte stream: packed, in COBS, with
// the closing 0x00. Where f has no encoding, dst comes back as it was, with an
// error.
func AppendWire(dst []byte, f *Frame, coding Coding) ([]byte, error) {
	bare, err := AppendPacked(nil, f, coding)
	if err != nil {
		return dst, err
	}
	return append(AppendCOBS(dst, bare), 0), nil
}

// appendReadings appends the rest of the header and the readings.
func appendReadings(b []byte, f *Frame, coding Coding) ([]byte, error) {
	n := len(f.Readings)
	switch {
	case coding.size(n) < 0:
		return nil, unfit(f, "no coding %d", coding)
	case f.First < 0 || f.First > math.MaxUint16:
		return nil, unfit(f, "a first channel of %d does not fit", f.First)
	case n > math.MaxUint16:
		return nil, unfit(f, "%d readings do not fit", n)
	}
	var flags byte
	if f.More {
		flags |= flagMore
	}
	if f.Stored {
		flags |= flagStored
	}
	b = binary.LittleEndian.AppendUint16(b, uint16(f.First))
	b = binary.LittleEndian.AppendUint16(b, uint16(n))
	b = append(b, byte(coding), flags)

	top := uint32(0xFFFE)
	if coding != U16 {
		top = uint32(coding.top())
	}
	var low uint32 // U12: the first of a pair
	for i, v := range f.Readings {
		r, ok := whole(v, top)
		if math.IsNaN(v) && coding == U16 {
			r, ok = 0xFFFF, true
		}
		if !ok {
			return nil, unfit(f, "reading %d is %v, not a whole number 0 to %d", i, v, top)
		}
		switch {
		case coding == U16:
			b = append(b, byte(r), byte(r>>8))
		case coding == U8:
			b = append(b, byte(r))
		case i%2 == 0 && i == n-1:
			b = append(b, byte(r), byte(r>>8))
		case i%2 == 0:
			low = r
		default:
			pair := low | r<<12
			b = append(b, byte(pair), byte(pair>>8), byte(pair>>16))
		}
	}
	return b, nil
}

// whole returns v as an integer, or false where it is not one of 0…top.
func whole(v float64, top uint32) (uint32, bool) {
	if !(v >= 0 && v <= float64(top)) {
		return 0, false
	}
	n := uint32(v)
	return n, float64(n) == v
}
