package export

import (
	"context"
	"os"
	"runtime"
	"testing"
	"time"
)

// Memory does not grow with the length of a recording: what is held while the
// last tenth is written is no more than at the first tenth, and small.
func TestMemoryIsBounded(t *testing.T) {
	r := longRecording(t, 0.5, 24, 50)
	heap := func() int64 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return int64(m.HeapAlloc)
	}
	for format, export := range formats {
		before := heap()
		var early, late int64
		err := export(t.Context(), r, t.TempDir(), Options{Progress: func(p Progress) {
			// CSV and Parquet write their readings in part 1, EDF+ in part 2.
			if part := map[string]int{"edf": 2}[format]; p.Part != max(1, part) {
				return
			}
			switch int(100 * p.Share) {
			case 10:
				early = heap() - before
			case 90:
				late = heap() - before
			}
		}})
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%s: %d kB at a tenth, %d kB at nine tenths", format, early>>10, late>>10)
		if most := int64(40 << 20); early > most || late > most || late-early > 8<<20 {
			t.Errorf("%s: %d kB at a tenth, %d kB at nine tenths", format, early>>10, late>>10)
		}
	}
}

// Eight hours of 24 channels at 50 a second: 34.6 million readings.
func benchmark(b *testing.B, format string) {
	r := longRecording(b, 8, 24, 50)
	for range b.N {
		folder := b.TempDir()
		began := time.Now()
		if err := formats[format](context.Background(), r, folder, Options{}); err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(8*3600*50*24/time.Since(began).Seconds()/1e6, "Mreadings/s")
		var size int64
		files, err := os.ReadDir(folder)
		if err != nil {
			b.Fatal(err)
		}
		for _, f := range files {
			info, err := f.Info()
			if err != nil {
				b.Fatal(err)
			}
			size += info.Size()
		}
		b.ReportMetric(float64(size)/1e6, "MB")
	}
}

func BenchmarkEDF(b *testing.B)     { benchmark(b, "edf") }
func BenchmarkCSV(b *testing.B)     { benchmark(b, "csv") }
func BenchmarkParquet(b *testing.B) { benchmark(b, "parquet") }
