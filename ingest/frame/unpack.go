package frame

import (
	"encoding/binary"

	"weald/ingest/sample"
)

// These loops are most of the work of a mat at 10 scans a second, so they take
// whole words and do not branch on single readings. In each, len(src) is exactly
// Coding.size(len(dst)).

// unpack12 spreads two readings from every three bytes, a + b*4096 in little
// endian; an odd last one has two bytes. It reports false where the upper four
// bits of those are not zero.
func unpack12(dst []float64, src []byte) bool {
	// Eight bytes hold the four readings of six bytes, and two to spare.
	for len(dst) >= 4 && len(src) >= 8 {
		w := binary.LittleEndian.Uint64(src)
		q := dst[:4:4]
		q[0] = float64(int64(w & 0xFFF))
		q[1] = float64(int64(w >> 12 & 0xFFF))
		q[2] = float64(int64(w >> 24 & 0xFFF))
		q[3] = float64(int64(w >> 36 & 0xFFF))
		dst, src = dst[4:], src[6:]
	}
	for len(dst) >= 2 && len(src) >= 3 {
		w := uint32(src[0]) | uint32(src[1])<<8 | uint32(src[2])<<16
		dst[0] = float64(int64(w & 0xFFF))
		dst[1] = float64(int64(w >> 12))
		dst, src = dst[2:], src[3:]
	}
	if len(dst) == 0 {
		return true
	}
	w := binary.LittleEndian.Uint16(src)
	dst[0] = float64(w)
	return w <= 0xFFF
}

// unpack16 reads 16-bit readings; 0xFFFF becomes NaN. Four readings at a time
// are asked for a missing one together, as most frames have none.
func unpack16(dst []float64, src []byte) {
	for len(dst) >= 4 && len(src) >= 8 {
		w := binary.LittleEndian.Uint64(src)
		q := dst[:4:4]
		q[0] = float64(int64(w & 0xFFFF))
		q[1] = float64(int64(w >> 16 & 0xFFFF))
		q[2] = float64(int64(w >> 32 & 0xFFFF))
		q[3] = float64(int64(w >> 48))
		if hasFFFF(w) {
			for i, v := range q {
				q[i] = missing16(v)
			}
		}
		dst, src = dst[4:], src[8:]
	}
	for i := range dst {
		dst[i] = missing16(float64(binary.LittleEndian.Uint16(src[2*i:])))
	}
}

// hasFFFF reports whether one of the four 16-bit parts of w is 0xFFFF: whether
// one part of its complement is zero, which borrows from its own top bit.
func hasFFFF(w uint64) bool {
	const (
		low = 0x0001_0001_0001_0001
		top = 0x8000_8000_8000_8000
	)
	return (^w-low)&w&top != 0
}

func missing16(v float64) float64 {
	if v == 0xFFFF {
		return sample.Unknown
	}
	return v
}

// unpack8 reads 8-bit readings.
func unpack8(dst []float64, src []byte) {
	src = src[:len(dst)]
	for i, v := range src {
		dst[i] = float64(int64(v))
	}
}
