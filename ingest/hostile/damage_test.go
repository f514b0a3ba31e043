package hostile

import (
	"bytes"
	"math/rand/v2"
	"testing"
	"time"

	"weald/ingest"
	"weald/ingest/frame"
	"weald/ingest/sample"
)

// channels is how many readings a frame has.
const channels = 48

// A speech is a format with a way to speak it.
type speech struct {
	name   string
	format ingest.Format
	whole  bool  // each frame is a message
	ends   byte  // a frame, where it is no message
	checks bool  // damage is found by a checksum
	holds  int64 // bytes that a decoder may hold
	append func(dst []byte, f *frame.Frame) ([]byte, error)
}

func speeches() []speech {
	var columns []int
	for i := range channels {
		columns = append(columns, i+2)
	}
	rows := frame.Delimited{
		Separator: ",", Channels: columns,
		Time:   frame.TimeColumn{Column: 0, As: frame.InSeconds},
		Source: frame.SourceColumn{Column: 1, Is: map[string]uint16{"mat": 1}},
	}
	packed := func(dst []byte, f *frame.Frame) ([]byte, error) { return frame.AppendWire(dst, f, frame.U12) }
	bare := func(dst []byte, f *frame.Frame) ([]byte, error) { return frame.AppendPacked(dst, f, frame.U12) }
	return []speech{
		{"line", ingest.Format{Kind: ingest.Line}, false, '\n', true, 64 << 10, frame.AppendLine},
		{"packed", ingest.Format{Kind: ingest.Packed}, false, 0, true, 64 << 10, packed},
		{"messages", ingest.Format{Kind: ingest.Packed}, true, 0, true, 64 << 10, bare},
		// A row may be 1 MiB long, and its buffer grows by doubling.
		{"delimited", ingest.Format{Kind: ingest.Delimited, Delimited: rows}, false, '\n', false, 3 << 20, rows.AppendRow},
	}
}

// frame returns the n-th frame that a source sends; its readings tell n.
func (s *speech) frame(t testing.TB, dst []byte, n uint32) []byte {
	t.Helper()
	f := frame.Frame{
		Kind: frame.Readings, Source: 1, Seq: n, Millis: 100 * n,
		Wall: sample.Instant(n) * sample.Instant(100*time.Millisecond), Readings: make([]float64, channels),
	}
	for i := range f.Readings {
		f.Readings[i] = reading(n, i)
	}
	dst, err := s.append(dst, &f)
	if err != nil {
		t.Fatal(err)
	}
	return dst
}

// reading is the i-th reading of the n-th frame, 0 to 4095. The first two are n.
func reading(n uint32, i int) float64 {
	switch i {
	case 0:
		return float64(n & 4095)
	case 1:
		return float64(n >> 12 & 4095)
	}
	return float64((n*channels + uint32(i)) * 2654435761 >> 20)
}

// number returns which frame has these readings, or false if none has.
func number(readings []float64) (n uint32, ok bool) {
	if len(readings) != channels || !(readings[0] < 4096) || !(readings[1] < 4096) {
		return 0, false
	}
	n = uint32(readings[0]) | uint32(readings[1])<<12
	for i, v := range readings {
		if v != reading(n, i) {
			return 0, false
		}
	}
	return n, true
}

// A damage makes hostile bytes.
type damage struct {
	name string
	// burst returns bytes that hold no sound frame, made of the frames numbered
	// from n on, of which it uses up to uses.
	burst func(t testing.TB, s *speech, r *rand.Rand, n uint32) []byte
}

// uses is how many frames a burst is made of at most.
const uses = 8

func damages() []damage {
	each := func(harm func(r *rand.Rand, b []byte) []byte) func(testing.TB, *speech, *rand.Rand, uint32) []byte {
		return func(t testing.TB, s *speech, r *rand.Rand, n uint32) (b []byte) {
			most := uint32(1 + r.IntN(uses))
			if s.whole {
				most = 1
			}
			for i := range most {
				b = append(b, harm(r, s.frame(t, nil, n+i))...)
			}
			return b
		}
	}
	return []damage{
		{"random", func(_ testing.TB, _ *speech, r *rand.Rand, _ uint32) []byte {
			b := make([]byte, 1+r.IntN(16<<10))
			for i := range b {
				b[i] = byte(r.Uint32())
			}
			return b
		}},
		// Bytes in which no frame ever ends.
		{"endless", func(_ testing.TB, s *speech, r *rand.Rand, _ uint32) []byte {
			n := 1 + r.IntN(64<<10)
			if r.IntN(20) == 0 {
				n += 2 << 20
			}
			if s.whole {
				n = min(n, 64<<10)
			}
			b := make([]byte, n)
			for i := range b {
				if b[i] = byte(r.Uint32()); b[i] == s.ends {
					b[i]++
				}
			}
			return b
		}},
		{"truncated", each(func(r *rand.Rand, b []byte) []byte {
			switch i := 1 + r.IntN(len(b)-1); r.IntN(3) {
			case 0:
				return b[:i]
			case 1:
				return b[i:]
			default: // a piece from the middle is lost
				return append(b[:i], b[min(i+1+r.IntN(len(b)), len(b)):]...)
			}
		})},
		{"flipped", each(func(r *rand.Rand, b []byte) []byte {
			was := bytes.Clone(b)
			for n := 1 + r.IntN(5); n > 0 || bytes.Equal(b, was); n-- {
				b[r.IntN(len(b))] ^= 1 << r.IntN(8)
			}
			return b
		})},
	}
}
