package frame

import "encoding/binary"

// COBS (Cheshire and Baker 1999) writes bytes without using 0x00, so that a
// 0x00 can end a frame. Each zero is replaced by the distance to the next one,
// and one such code stands in front. A run of 254 bytes without a zero gets
// the code 0xFF, which stands for no zero.

// fullRun is the code of a run of 254 bytes that no zero follows.
const fullRun = 0xFF

// cobsMax returns the longest encoding of n bytes, without the delimiter.
func cobsMax(n int) int { return n + n/254 + 1 }

// decodeCOBS decodes b in place and returns the decoded part of b, or false
// where a code points past the end. b must hold no 0x00, which cutting at 0x00
// sees to.
//
// A code byte and the zero that it stands for sit at the same place, one byte
// apart in count, so nothing moves until a full run drops its code: decoding
// is a walk from code to code that writes zeros. Encoders differ on a frame
// that ends in a full run: some append an empty run, others do not. Both are
// read.
func decodeCOBS(b []byte) ([]byte, bool) {
	if len(b) == 0 {
		return b, true
	}
	const ones = 0x0101_0101_0101_0101
	n := len(b)
	out := 1   // where the decoded bytes end
	start := 1 // where the bytes not yet moved to out begin
	at := 0    // where the code being read is
	code := int(b[0])
	for {
		next := at + code
		if code == fullRun || next >= n {
			if next > n {
				return nil, false
			}
			if out == start {
				out = next
			} else {
				out += copy(b[out:], b[start:next])
			}
			if next == n {
				return b[1:out], true
			}
			at, start, code = next, next+1, int(b[next])
			continue
		}
		at, code = next, int(b[next])
		b[next] = 0
		// Mats are mostly zeros, and a walk waits for each code: take eight
		// empty runs in a row at once.
		for code == 1 && at+9 < n && binary.LittleEndian.Uint64(b[at+1:]) == ones {
			binary.LittleEndian.PutUint64(b[at+1:], 0)
			at += 8
		}
	}
}

// AppendCOBS appends the encoding of p, without the closing 0x00. It adds one
// byte, and one more for every 254 bytes of p at most; a p that ends in a full
// run gets no empty run after it.
func AppendCOBS(dst, p []byte) []byte {
	code := len(dst) // where the code of the run at hand goes
	dst = append(dst, 0)
	for i, v := range p {
		if v == 0 {
			dst[code] = byte(len(dst) - code)
			code = len(dst)
			dst = append(dst, 0)
			continue
		}
		dst = append(dst, v)
		if len(dst)-code == fullRun {
			dst[code] = fullRun
			if i == len(p)-1 {
				return dst
			}
			code = len(dst)
			dst = append(dst, 0)
		}
	}
	dst[code] = byte(len(dst) - code)
	return dst
}
