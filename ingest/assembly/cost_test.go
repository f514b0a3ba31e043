package assembly

import (
	"testing"
	"time"

	"weald/ingest/calib"
	"weald/ingest/frame"
	"weald/ingest/sample"
)

// stream gives an Assembler the frames of a mat, in the given number of parts.
func stream(t testing.TB, parts int, remembers bool) (next func()) {
	lines := make([]calib.Line, 2048)
	for i := range lines {
		lines[i] = calib.Line{Slope: 0.02 + float64(i)*1e-6}
	}
	got := 0
	a, err := New(Config{Channels: 2048, Unit: calib.Counts, Lines: lines, SaturatesAt: 4095}, func(*sample.Scan) { got++ })
	if err != nil {
		t.Fatal(err)
	}
	if remembers {
		a.Remember(nil)
	}
	raw := newMat().body()
	f := frame.Frame{Kind: frame.Readings, Wall: sample.Never, Top: 4095}
	sent := 0
	return func() {
		each := len(raw) / parts
		for p := range parts {
			f.First, f.More = p*each, p < parts-1
			f.Readings = raw[p*each : (p+1)*each]
			if bad := a.Frame(&f, start.Add(time.Duration(f.Millis)*time.Millisecond)); bad != nil {
				t.Fatal(bad)
			}
			f.Seq++
		}
		f.Millis += 1000
		if sent++; got != sent {
			t.Fatalf("%d scans of %d came out", got, sent)
		}
	}
}

func TestNoAllocations(t *testing.T) {
	for _, parts := range []int{1, 16} {
		for _, remembers := range []bool{false, true} {
			if n := testing.AllocsPerRun(2000, stream(t, parts, remembers)); n != 0 {
				t.Errorf("%v allocations per scan of %d parts, want none (remembered: %t)", n, parts, remembers)
			}
		}
	}
}

// Neither do stored and suspect scans allocate, once there have been some.
func TestNoAllocationsAside(t *testing.T) {
	a, err := New(Config{Channels: 2048, Unit: calib.Counts}, func(*sample.Scan) {})
	if err != nil {
		t.Fatal(err)
	}
	m := newMat()
	steps, body, damaged := m.upper(400), m.body(), m.garbled()
	n := uint32(0)
	f := new(frame.Frame)
	give := func(raw []float64, old uint32) {
		*f = frame.Frame{Kind: frame.Readings, Seq: n, Millis: n * 1000, Wall: sample.Never, Readings: raw}
		if old > 0 {
			f.Millis, f.Seq, f.Stored = f.Millis-old, f.Seq-old, true
		}
		a.Frame(f, at(int(n)*1000))
		n++
	}
	give(body, 0)
	for range 4 {
		give(steps, 0)
	}
	give(body, 3)
	give(body, 0)
	if got := testing.AllocsPerRun(100, func() {
		give(steps, 0)
		give(steps, 0)
		give(damaged, 0)
		give(body, 0)
		give(body, 2)
	}); got != 0 {
		t.Errorf("%v allocations for five frames, want none", got)
	}
}

func BenchmarkFrame(b *testing.B) {
	for _, c := range []struct {
		name      string
		parts     int
		remembers bool
	}{{"whole", 1, false}, {"16 parts", 16, false}, {"16 parts, remembered", 16, true}} {
		b.Run(c.name, func(b *testing.B) {
			next := stream(b, c.parts, c.remembers)
			b.ReportAllocs()
			for b.Loop() {
				next()
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/2048, "ns/cell")
		})
	}
}
