package live

import (
	"testing"

	"weald/stream/history"
)

// A map of a mat as it goes to a page, and beside it the bare loop: as many pressures
// divided by the step and cut off, without a look at what they are.
func BenchmarkAppendMap(b *testing.B) {
	m := history.Map{Rows: 64, Columns: 32, Cells: make([]float32, 2048), Loaded: make([]uint16, 2048)}
	for i := range m.Cells {
		m.Cells[i] = max(0, float32(i*7919%2048)/20-30)
	}
	var buf []byte
	perCell := func(b *testing.B) {
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/2048, "ns/cell")
	}
	b.Run("bare", func(b *testing.B) {
		buf = make([]byte, 2*2048)
		for b.Loop() {
			bareCodes(buf, m.Cells)
		}
		perCell(b)
	})
	b.Run("weald", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			buf = appendMap(buf, kindPressure, 1, 1, &m)
		}
		perCell(b)
	})
}

//go:noinline
func bareCodes(to []byte, from []float32) {
	for _, v := range from {
		le.PutUint16(to, uint16(int16(float64(v)/history.MapStep+0.5)))
		to = to[2:]
	}
}
