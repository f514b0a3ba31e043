package export

import (
	"context"
	"os"
	"runtime"
	"testing"
	"time"
)

// Memory does not grow with the length of a recording: near its end no more is
// held than at two fifths of it, and little at all.
func TestMemoryIsBounded(t *testing.T) {
	r := longRecording(t, 0.5, 24, 50)
	heap := func() int64 {
		runtime.GC()
		runtime.GC() // the second one empties pools
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return int64(m.HeapAlloc)
	}
	for format, export := range formats {
		before := heap()
		var early, late int64
		err := export(t.Context(), r, t.TempDir(), Options{Progress: func(p Progress) {
			// CSV and Parquet write their readings in part 1, EDF+ and FHIR in part 2.
			if part := map[string]int{"edf": 2, "fhir": 2}[format]; p.Part != max(1, part) {
				return
			}
			switch int(100 * p.Share) {
			case 40:
				early = heap() - before
			case 90:
				late = heap() - before
			}
		}})
		if err != nil {
			t.Fatal(err)
		}
		// Parquet holds the compressed pages of one group of rows. (Its pools of
		// buffers, which a collection empties, are another 45 MB.)
		// FHIR holds an Observation of each signal: a quarter of a megabyte.
		most := map[string]int64{"csv": 2 << 20, "edf": 2 << 20, "fhir": 8 << 20, "parquet": 16 << 20}[format]
		t.Logf("%s: %d kB, then %d kB", format, early>>10, late>>10)
		if early > most || late > most || late-early > 2<<20 {
			t.Errorf("%s holds %d kB, then %d kB; %d kB would be too much", format, early>>10, late>>10, most>>10)
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
func BenchmarkFHIR(b *testing.B)    { benchmark(b, "fhir") }
func BenchmarkParquet(b *testing.B) { benchmark(b, "parquet") }
