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

// decodeCOBS decodes b, a copy of enc, in place and returns the decoded part of b, or
// false where a code points past the end. b must hold no 0x00, which cutting at 0x00
// sees to.
//
// A code byte and the zero that it stands for sit at the same place, one byte
// apart in count, so nothing moves until a full run drops its code: decoding
// is a walk from code to code that writes zeros. Encoders differ on a frame
// that ends in a full run: some append an empty run, others do not. Both are
// read.
func decodeCOBS(b, enc []byte) ([]byte, bool) {
	if len(b) == 0 {
		return b, true
	}
	if x, y, z, ok := guess(b); ok {
		if strideCOBS(b, x, y, z) {
			return b[1:], true
		}
		copy(b, enc)
	}
	out := 1   // where the decoded bytes end
	start := 1 // where the bytes not yet moved to out begin
	for at, full := 0, true; full && at < len(b); start = at + 1 {
		if at, full = walkCOBS(b, at); at > len(b) {
			return nil, false
		}
		if out == start {
			out = at
		} else {
			out += copy(b[out:], b[start:at])
		}
	}
	return b[1:out], true
}

// walkCOBS walks from the code at at, which stands for no zero, to the end of b or
// of the first full run, and says which. A code that points past the end leads there.
//
// A walk waits for each code, and a guess of what it is costs more than that where
// it is wrong. So there is but one question to eight bytes that is mostly answered
// alike: whether they are eight empty runs, as much of a mat is.
func walkCOBS(b []byte, at int) (end int, full bool) {
	const empty = 0x0101_0101_0101_0101
	for len(b)-at >= 8 {
		w := binary.LittleEndian.Uint64(b[at:])
		if w == empty {
			binary.LittleEndian.PutUint64(b[at:], 0)
			at += 8
			continue
		}
		b[at] = 0
		if at += int(w & 0xFF); w&0xFF == fullRun {
			return at, true
		}
	}
	for at < len(b) {
		code := int(b[at])
		b[at] = 0
		if at += code; code == fullRun {
			return at, true
		}
	}
	return at, false
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
