package live

import (
	"encoding/binary"
	"math"

	"weald/ingest/sample"
	"weald/stream/history"
)

// The kinds of binary frames.
const (
	kindSamples  = 1
	kindPressure = 2
	kindLoaded   = 3
)

// flagSkipped in a header says that readings were left out before those of the
// frame.
const flagSkipped = 1

const headerSize = 16

var le = binary.LittleEndian

func millis(i sample.Instant) float64 { return float64(i) / 1e6 }

// A sampleFrame is a frame of kind 1 under construction.
type sampleFrame struct {
	b      []byte
	blocks int
	base   sample.Instant
	flags  byte
}

func (f *sampleFrame) reset() {
	*f = sampleFrame{b: append(f.b[:0], make([]byte, headerSize)...)}
}

// add appends what a batch says about some streams of one place. It reports
// false, and adds nothing, if the batch is too far from the times that the
// frame already has.
func (f *sampleFrame) add(batch *history.Batch, streams []stream) bool {
	if len(batch.At) == 0 {
		return true
	}
	base := f.base
	if f.blocks == 0 {
		base = batch.At[len(batch.At)-1]
	}
	for _, at := range batch.At {
		if d := at.Sub(base).Milliseconds(); d > math.MaxInt32 || d < math.MinInt32 {
			return f.blocks == 0 // alone it would not fit either: give it up
		}
	}
	f.base = base
	if batch.Skipped {
		f.flags |= flagSkipped
	}
	for _, s := range streams {
		f.block(batch, s)
	}
	return true
}

func (f *sampleFrame) block(batch *history.Batch, s stream) {
	start, count := len(f.b), 0
	f.b = append(f.b, 0, 0, 0, 0)
	for i, at := range batch.At {
		if !history.IsAbsent(batch.Value(i, s.series)) {
			ms := math.Round(float64(at-f.base) / 1e6)
			f.b = le.AppendUint32(f.b, uint32(int32(ms)))
			count++
		}
	}
	if count == 0 {
		f.b = f.b[:start]
		return
	}
	for i := range batch.At {
		if v := batch.Value(i, s.series); !history.IsAbsent(v) {
			f.b = le.AppendUint32(f.b, math.Float32bits(v))
		}
	}
	le.PutUint16(f.b[start:], s.id)
	le.PutUint16(f.b[start+2:], uint16(count))
	f.blocks++
}

// finish writes the header and returns the frame.
func (f *sampleFrame) finish(number uint32) []byte {
	putHeader(f.b, kindSamples, f.flags, uint16(f.blocks), number, f.base)
	return f.b
}

func putHeader(b []byte, kind, flags byte, n uint16, number uint32, base sample.Instant) {
	b[0], b[1] = kind, flags
	le.PutUint16(b[2:], n)
	le.PutUint32(b[4:], number)
	le.PutUint64(b[8:], math.Float64bits(millis(base)))
}

// appendMap writes a whole frame of kind 2 or 3 into b.
func appendMap(b []byte, kind byte, number uint32, id uint16, m *history.Map) []byte {
	b = append(b[:0], make([]byte, headerSize)...)
	putHeader(b, kind, 0, 0, number, m.At)
	b = le.AppendUint16(b, id)
	b = le.AppendUint16(b, uint16(m.Rows))
	b = le.AppendUint16(b, uint16(m.Columns))
	b = le.AppendUint16(b, 0)
	if kind == kindLoaded {
		b = le.AppendUint32(b, math.Float32bits(1))
		for _, s := range m.Loaded {
			b = le.AppendUint16(b, s)
		}
		return b
	}
	b = le.AppendUint32(b, math.Float32bits(history.MapStep))
	return history.AppendCodes(b, m.Cells)
}
