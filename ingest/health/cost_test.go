package health

import (
	"math/rand/v2"
	"testing"
	"time"

	"weald/ingest/sample"
)

// bodies returns scans of a body that moves now and then on a mat of 32 x 64.
func bodies() [][]float64 {
	r := rand.New(rand.NewPCG(1, 2))
	scans := make([][]float64, 50)
	for s := range scans {
		scans[s] = make([]float64, 2048)
		for i := range scans[s] {
			if row := i / 64; row > 8 && row < 24 {
				scans[s][i] = float64(200 + 10*(i%64) + s/10*150 + r.IntN(3))
			}
		}
	}
	return scans
}

func TestNoAllocations(t *testing.T) {
	m := mat(t, 32, 64)
	scans := bodies()
	scans[7][100], scans[8][100], scans[9][100] = nan, nan, nan
	values := make([]float64, 2048)
	var report Report
	at, n := sample.Instant(0), 0
	one := func() {
		raw := scans[n%len(scans)]
		raw[64*16+30] = 0 // a dead one, to be found and withheld
		at, n = at.Add(time.Second), n+1
		m.Scan(at, raw, 4095)
		m.Withhold(raw, values)
		m.Report(&report)
	}
	for range 5000 {
		one()
	}
	if report.LeftOut != 1 {
		t.Fatalf("%+v, want the dead cell left out", report)
	}
	if got := testing.AllocsPerRun(5000, one); got != 0 {
		t.Errorf("%v allocations a scan, want none", got)
	}
}

// BenchmarkScan is to be held against BenchmarkBare, the least that anything
// which reads every cell of every scan would take.
func BenchmarkScan(b *testing.B) {
	for _, c := range []struct {
		name     string
		channels int
		every    time.Duration
	}{
		{"mat, 1 a second", 2048, time.Second},
		{"mat, 10 a second", 2048, 100 * time.Millisecond},
		{"wrap, 10 a second", 4, 100 * time.Millisecond},
	} {
		b.Run(c.name, func(b *testing.B) {
			config := Config{Channels: c.channels, Together: [][]int{{0, 1, 2, 3}}}
			if c.channels == 2048 {
				config = Config{Channels: 2048, Rows: 32, Columns: 64}
			}
			m, err := New(config)
			if err != nil {
				b.Fatal(err)
			}
			scans := bodies()
			at, n := sample.Instant(0), 0
			b.ReportAllocs()
			for b.Loop() {
				if n++; n == len(scans) {
					n = 0
				}
				at = at.Add(c.every)
				m.Scan(at, scans[n][:c.channels], 4095)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(c.channels), "ns/cell")
		})
	}
}

func BenchmarkBare(b *testing.B) {
	scans := bodies()
	n, above := 0, 0
	for b.Loop() {
		if n++; n == len(scans) {
			n = 0
		}
		for _, v := range scans[n] {
			if v >= 4095 {
				above++
			}
		}
	}
	if above > 0 {
		b.Fatal("nothing is at the rail")
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/2048, "ns/cell")
}

func BenchmarkReport(b *testing.B) {
	m := mat(b, 32, 64)
	var r Report
	b.ReportAllocs()
	for b.Loop() {
		m.Report(&r)
	}
}
