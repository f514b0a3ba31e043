package frame

import (
	"math/rand/v2"
	"testing"
)

// sink is a handler that keeps nothing.
type sink struct{ frames, bad, readings int }

func (s *sink) Frame(f *Frame) { s.frames++; s.readings += len(f.Readings) }
func (s *sink) Bad(*Bad)       { s.bad++ }

// matScan is one scan of a mat: a share of the cells carries a load that
// varies smoothly, the rest is zero, as a mat with a body on it looks.
func matScan(cells int, loaded float64, top int) *Frame {
	r := rand.New(rand.NewPCG(1, 2))
	f := &Frame{Kind: Readings, Source: 4, Seq: 70000, Millis: 123456789}
	on := false
	for range cells {
		if r.Float64() < 0.1 {
			on = r.Float64() < loaded
		}
		v := 0
		if on {
			v = r.IntN(top + 1)
		}
		f.Readings = append(f.Readings, float64(v))
	}
	return f
}

// decodes measures a decoder that is fed the same frames again and again.
func decodes(b *testing.B, name string, frames []byte, feed func([]byte, Handler)) {
	b.Run(name, func(b *testing.B) {
		s := &sink{}
		b.SetBytes(int64(len(frames)))
		b.ReportAllocs()
		for b.Loop() {
			feed(frames, s)
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(s.readings), "ns/reading")
	})
}

// BenchmarkPacked decodes scans of 2,048 cells as they come over a port. Each
// case reports the bytes on the wire per second and the time a reading takes;
// "copy" moves the same bytes and does nothing else, for comparison.
func BenchmarkPacked(b *testing.B) {
	for _, c := range []struct {
		name   string
		coding Coding
		top    int
		loaded float64
	}{
		{"u12/body", U12, 4095, 0.4},
		{"u12/dense", U12, 4095, 1},
		{"u12/empty", U12, 4095, 0},
		{"u16/body", U16, 4095, 0.4},
		{"u16/dense", U16, 65534, 1},
		{"u8/body", U8, 255, 0.4},
		{"u8/dense", U8, 255, 1},
	} {
		f := matScan(2048, c.loaded, c.top)
		wire, err := AppendWire(nil, f, c.coding)
		if err != nil {
			b.Fatal(err)
		}
		bare, err := AppendPacked(nil, f, c.coding)
		if err != nil {
			b.Fatal(err)
		}
		decodes(b, c.name+"/wire", wire, NewPacked().Feed)
		decodes(b, c.name+"/bare", bare, NewPacked().Message)
		b.Run(c.name+"/copy", func(b *testing.B) {
			dst := make([]byte, len(wire))
			b.SetBytes(int64(len(wire)))
			for b.Loop() {
				copy(dst, wire)
			}
		})
	}
}

// BenchmarkUnpack is the innermost loop alone.
func BenchmarkUnpack(b *testing.B) {
	dst := make([]float64, 2048)
	for _, c := range []struct {
		name   string
		coding Coding
		unpack func([]float64, []byte)
	}{
		{"u12", U12, func(dst []float64, src []byte) { unpack12(dst, src) }},
		{"u16", U16, unpack16},
		{"u8", U8, unpack8},
	} {
		b.Run(c.name, func(b *testing.B) {
			src := make([]byte, c.coding.size(len(dst)))
			b.SetBytes(int64(len(src)))
			for b.Loop() {
				c.unpack(dst, src)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(dst)), "ns/reading")
		})
	}
}

// BenchmarkLine decodes lines of four and of 512 readings.
func BenchmarkLine(b *testing.B) {
	for _, c := range []struct {
		name  string
		cells int
	}{{"4", 4}, {"512", 512}} {
		line, err := AppendLine(nil, matScan(c.cells, 1, 4095))
		if err != nil {
			b.Fatal(err)
		}
		decodes(b, c.name, line, NewLine().Feed)
	}
}

// BenchmarkRows decodes rows of four and of 2,048 columns.
func BenchmarkRows(b *testing.B) {
	for _, c := range []struct {
		name  string
		cells int
	}{{"4", 4}, {"2048", 2048}} {
		f := matScan(c.cells, 0.4, 4095)
		logger := Delimited{Separator: ",", Time: TimeColumn{Column: 0, As: InSeconds}, Channels: columns(1, c.cells)}
		f.Wall = 1702378176106295000
		row, err := logger.AppendRow(nil, f)
		if err != nil {
			b.Fatal(err)
		}
		decodes(b, c.name, row, newRows(b, logger).Feed)
	}
}
