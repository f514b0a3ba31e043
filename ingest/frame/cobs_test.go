package frame

import (
	"bytes"
	"encoding/hex"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"weald/ingest/tried"
)

// span returns the bytes from first to last.
func span(first, last int) []byte {
	var b []byte
	for v := first; v <= last; v++ {
		b = append(b, byte(v))
	}
	return b
}

func hexBytes(s string) []byte {
	b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	if err != nil {
		panic(err)
	}
	return b
}

// Examples in the manner of Cheshire and Baker, IEEE/ACM Trans Netw
// 1999;7(2):159-172. "00 11 00" and the last four are from memory and were
// derived again by hand.
var cobsExamples = []struct {
	name           string
	plain, encoded []byte
}{
	{"nothing", nil, hexBytes("01")},
	{"a zero", hexBytes("00"), hexBytes("01 01")},
	{"two zeros", hexBytes("00 00"), hexBytes("01 01 01")},
	{"zeros around", hexBytes("00 11 00"), hexBytes("01 02 11 01")},
	{"a zero inside", hexBytes("11 22 00 33"), hexBytes("03 11 22 02 33")},
	{"no zero", hexBytes("11 22 33 44"), hexBytes("05 11 22 33 44")},
	{"zeros behind", hexBytes("11 00 00 00"), hexBytes("02 11 01 01 01")},
	{"254 bytes", span(1, 254), slices.Concat(hexBytes("FF"), span(1, 254))},
	{"a zero and 254 bytes", span(0, 254), slices.Concat(hexBytes("01 FF"), span(1, 254))},
	{"255 bytes", span(1, 255), slices.Concat(hexBytes("FF"), span(1, 254), hexBytes("02 FF"))},
	{"254 bytes and a zero", append(span(2, 255), 0), slices.Concat(hexBytes("FF"), span(2, 255), hexBytes("01 01"))},
	{"253 bytes, a zero, one", append(span(3, 255), 0, 1), slices.Concat(hexBytes("FE"), span(3, 255), hexBytes("02 01"))},
}

func TestCOBSExamples(t *testing.T) {
	for _, c := range cobsExamples {
		if got := AppendCOBS(nil, c.plain); !bytes.Equal(got, c.encoded) {
			t.Errorf("%s: encodes to %x, want %x", c.name, got, c.encoded)
		}
		if got, ok := decodeCOBS(slices.Clone(c.encoded), c.encoded); !ok || !bytes.Equal(got, c.plain) {
			t.Errorf("%s: decodes to %x, %v, want %x", c.name, got, ok, c.plain)
		}
	}
}

// At exactly 254 bytes without a zero some encoders append an empty run.
func TestCOBSOtherHabitAtFullRun(t *testing.T) {
	other := slices.Concat(hexBytes("FF"), span(1, 254), hexBytes("01"))
	if got, ok := decodeCOBS(slices.Clone(other), other); !ok || !bytes.Equal(got, span(1, 254)) {
		t.Errorf("decodes to %x, %v, want the 254 bytes", got, ok)
	}
}

func TestCOBSCodePastTheEnd(t *testing.T) {
	for _, s := range []string{"03 11", "02", "FF 01", "02 11 05 11 22", "01 01 01 01 01 01 01 01 01 01 02"} {
		if got, ok := decodeCOBS(hexBytes(s), hexBytes(s)); ok {
			t.Errorf("%s decodes to %x, want a refusal", s, got)
		}
	}
}

// zeroRich draws bytes that look like a mat: long runs of zeros, long runs
// without one, and everything between.
func zeroRich(t *rapid.T) []byte {
	var b []byte
	for range rapid.IntRange(0, 8).Draw(t, "runs") {
		n := rapid.SampledFrom([]int{0, 1, 2, 7, 8, 9, 17, 253, 254, 255, 508, 600}).Draw(t, "length")
		fill := rapid.SampledFrom([]byte{0, 1, 0xFF}).Draw(t, "fill")
		b = append(b, bytes.Repeat([]byte{fill}, n)...)
		b = append(b, rapid.SliceOfN(rapid.Byte(), 0, 5).Draw(t, "between")...)
	}
	return b
}

func TestCOBSRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		plain := zeroRich(t)
		enc := AppendCOBS([]byte("before"), plain)
		if !bytes.HasPrefix(enc, []byte("before")) {
			t.Fatalf("what was in front is gone: %x", enc)
		}
		enc = enc[len("before"):]
		if bytes.IndexByte(enc, 0) >= 0 {
			t.Fatalf("%x has a zero", enc)
		}
		if len(enc) > cobsMax(len(plain)) {
			t.Fatalf("%d bytes became %d, more than %d", len(plain), len(enc), cobsMax(len(plain)))
		}
		if got, ok := decodeCOBS(slices.Clone(enc), enc); !ok || !bytes.Equal(got, plain) {
			t.Fatalf("%x decodes to %x, %v, want %x", enc, got, ok, plain)
		}
	})
}

// slowCOBS decodes byte by byte, as the rule is written.
func slowCOBS(b []byte) ([]byte, bool) {
	var out []byte
	for len(b) > 0 {
		code := int(b[0])
		if code == 0 || code > len(b) {
			return nil, false
		}
		out = append(out, b[1:code]...)
		b = b[code:]
		if code != 255 && len(b) > 0 {
			out = append(out, 0)
		}
	}
	return out, true
}

func TestCOBSAgainstSlowDecoder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		enc := zeroRich(t)
		for i, v := range enc { // any bytes but zeros
			if v == 0 {
				enc[i] = 1
			}
		}
		want, wantOK := slowCOBS(enc)
		got, ok := decodeCOBS(slices.Clone(enc), enc)
		if ok != wantOK || !bytes.Equal(got, want) {
			t.Fatalf("%x decodes to %x, %v, want %x, %v", enc, got, ok, want, wantOK)
		}
	})
}

// manyRuns draws the bytes of a mat whose cells are noisy: short runs all over, and long
// ones where somebody lies.
func manyRuns(t *rapid.T) []byte {
	r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
	zeros := rapid.Float64Range(0.2, 0.8).Draw(t, "zeros")
	long := rapid.Float64Range(0, 0.03).Draw(t, "long")
	top := rapid.SampledFrom([]int{1, 12, 255}).Draw(t, "top")
	var b []byte
	for n := rapid.IntRange(stridesFrom, 4000).Draw(t, "length"); len(b) < n; {
		switch {
		case r.Float64() < long:
			for range r.IntN(60) {
				b = append(b, byte(1+r.IntN(255)))
			}
		case r.Float64() < zeros:
			b = append(b, 0)
		default:
			b = append(b, byte(1+r.IntN(top)))
		}
	}
	return b
}

// A frame that is walked from several codes at once, of which some are guesses, is the
// same as one that is walked from its first, whole or damaged; and there are such frames.
func TestCOBSOfManyRuns(t *testing.T) {
	frames, right, wrong := 0, 0, 0
	tried.Check(t, tried.Count(&right, 10), func(t *rapid.T) {
		plain := manyRuns(t)
		enc := AppendCOBS(nil, plain)
		if rapid.Bool().Draw(t, "damaged") {
			for range rapid.IntRange(1, 3).Draw(t, "bytes") {
				enc[rapid.IntRange(0, len(enc)-1).Draw(t, "at")] = rapid.ByteRange(1, 255).Draw(t, "byte")
			}
			if rapid.Bool().Draw(t, "cut") {
				enc = enc[:rapid.IntRange(1, len(enc)).Draw(t, "to")]
			}
		}
		want, wantOK := slowCOBS(enc)
		got, ok := decodeCOBS(slices.Clone(enc), enc)
		if ok != wantOK || !bytes.Equal(got, want) {
			t.Fatalf("%x decodes to %x, %v, want %x, %v", enc, got, ok, want, wantOK)
		}
		if x, y, z, ok := guess(enc); ok {
			frames++
			b := slices.Clone(enc)
			switch done := strideCOBS(b, x, y, z); {
			case !done:
				wrong++
			case !wantOK || !bytes.Equal(b[1:], want):
				t.Fatalf("%x decodes to %x in strides, want %x, %v", enc, b[1:], want, wantOK)
			default:
				right++
			}
		}
	})
	t.Logf("%d frames tried, %d guesses right and %d not", frames, right, wrong)
}

// Guesses that are wrong cost time and nothing else: here are starts at every other byte.
func TestCOBSOfWrongGuesses(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	plain := make([]byte, 600)
	for i := range plain {
		if r.IntN(2) == 0 {
			plain[i] = byte(r.IntN(4))
		}
	}
	enc := AppendCOBS(nil, plain)
	right := 0
	for x := 1; x < len(enc)-2; x++ {
		b := slices.Clone(enc)
		if strideCOBS(b, x, x+1, x+2) {
			if right++; !bytes.Equal(b[1:], plain) {
				t.Fatalf("from %d on: %x, want %x", x, b[1:], plain)
			}
		}
	}
	if right == 0 || right > len(enc)/4 {
		t.Errorf("of %d starts %d were right", len(enc), right)
	}
}
