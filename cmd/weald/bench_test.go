package main

import (
	"bytes"
	"flag"
	"fmt"
	"iter"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"weald/ingest"
	"weald/ingest/capture"
	"weald/ingest/frame"
	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
)

const benchConfig = `
bridges:
  - id: hub
    link: {file: {path: bed.cap}}
    format: packed
    sources:
      - {number: 7, id: mat, channels: 2048, rate: 1, calibration: {slope: 0.05, offset: 0, u: 2}}
places:
  - id: bed-1
    kind: bed
    mat: {source: hub/mat, rows: 64, columns: 32, pitch_mm: [25, 25], head: first_row}
rules:
  - {id: loaded, at: {place: bed-1}, limit: {watch: mat.pressure, above: 30}, on_delay: 30m, resets_after: 2m, priority: medium}
`

// benchIndexRule makes a lean plan make every signal of a region.
const benchIndexRule = `
  - {id: index, at: {place: bed-1}, limit: {watch: mat.index, above: 200}, on_delay: 30m, priority: medium}
`

// bodies are counts of a lying person, invented, as so many scans that differ
// by noise, breathing and a slow creep.
func bodies(n int) [][]float64 {
	out := make([][]float64, n)
	for k := range out {
		out[k] = make([]float64, 2048)
		for i := range out[k] {
			row, column := float64(i/32), float64(i%32)
			body := math.Exp(-math.Pow((column-16)/6, 2)) * (0.4 + math.Pow(math.Sin(row/64*3*math.Pi), 2))
			v := body*(900+float64(k)) + float64((i*7919+k*104729)%5)
			if body < 0.05 {
				v = 0
			}
			out[k][i] = math.Floor(v)
		}
	}
	return out
}

// packedScans encodes n scans, the given ones over and over.
func packedScans(tb testing.TB, n int, scans [][]float64) (frames [][]byte) {
	tb.Helper()
	for k := range n {
		scan := scans[k%len(scans)]
		b, err := frame.AppendWire(nil, &frame.Frame{Kind: frame.Readings, Source: 7, Seq: uint32(k), Millis: uint32(k) * 1000, Readings: scan}, frame.U12)
		if err != nil {
			tb.Fatal(err)
		}
		frames = append(frames, b)
	}
	return frames
}

// readOnce is a bare loop over bytes and cells. It is a function of its own, as
// what stands within b.Loop adds up in memory.
//
//go:noinline
func readOnce(bytes []byte, cells []float64) float64 {
	sum, x := 0.0, byte(0)
	for _, c := range bytes {
		x ^= c
	}
	for _, v := range cells {
		sum += v
	}
	return sum + float64(x)
}

type quiet struct{}

func (quiet) Alert(alert.Event)           {}
func (quiet) Updated(int, sample.Instant) {}
func (quiet) Late(int, *sample.Scan)      {}

// From packed 12-bit bytes through COBS, checksum, sequence, clock, damage
// check, calibration and the screen for cells that do not answer, as a bridge
// has them, to the signals of seven regions and a hold for each of 2,048 cells,
// one scan after the other; beside a bare loop that reads the same bytes and
// adds up as many cells. Two hours of a mat are played again and again; five
// cells are dead.
func BenchmarkPackedBytesToCellHolds(b *testing.B) {
	const n = 7200
	scans := bodies(64)
	for k := range scans {
		for _, i := range deadCells {
			scans[k][i] = 0
		}
	}
	frames := packedScans(b, n, scans)
	perCell := func(b *testing.B) {
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/2048, "ns/cell")
	}
	b.Run("bare", func(b *testing.B) {
		total, i := 0.0, 0
		for b.Loop() {
			total += readOnce(frames[i%n], scans[i%len(scans)])
			i++
		}
		perCell(b)
		if math.IsNaN(total) {
			b.Fatal("no sum")
		}
	})
	weald := func(b *testing.B, lean bool, more string) {
		c := parsedAs(b, "bench.yaml", benchConfig+more)
		hub := bridgeOf(c, &c.Bridges[0], nil)
		night := bytes.Join(frames, nil)
		withheld := uint64(0)
		// One scan an iteration; what begins and ends a night is in it too.
		play := func() (next func() (*sample.Scan, error, bool), done func()) {
			p, err := ingest.NewPlayback(hub, bytes.NewReader(night), ingest.PlayOptions{})
			if err != nil {
				b.Fatal(err)
			}
			next, stop := iter.Pull2(p.Scans(b.Context()))
			return next, func() {
				stop()
				withheld += p.Status().Sources[0].Withheld
			}
		}
		plan := c.Plan()
		plan.Lean = lean
		engine := rules.NewEngine(plan, quiet{})
		next, done := play()
		b.ReportAllocs()
		for b.Loop() {
			s, err, ok := next()
			if !ok {
				done()
				engine = rules.NewEngine(plan, quiet{})
				next, done = play()
				s, err, _ = next()
			}
			if err != nil {
				b.Fatal(err)
			}
			engine.Scan(s)
		}
		perCell(b)
		done()
		b.ReportMetric(float64(withheld)/float64(b.N), "withheld/scan")
	}
	// What the rule needs, which is what a rehearsal makes: peaks, means, areas and
	// loads of the mat and its regions, and a hold for each cell. Then with every
	// signal of a region: peak pressure index, share, centre, variation, gradient.
	// Then with how somebody lies, which is looked at every 2 s: all that a bed has.
	b.Run("weald", func(b *testing.B) { weald(b, true, "") })
	b.Run("region signals", func(b *testing.B) { weald(b, true, benchIndexRule) })
	b.Run("all signals", func(b *testing.B) { weald(b, false, "") })
}

// days makes the rehearsals longer: a week is a capture of 1.8 GB.
var days = flag.Int("days", 1, "days of a mat that are rehearsed, in benchmarks")

// A day of a 2,048-cell mat at one scan a second, from a capture of 260 MB.
func BenchmarkRehearseADayOfAMat(b *testing.B) {
	dir := b.TempDir()
	file := filepath.Join(dir, "day.cap")
	writeDay(b, file)
	name := filepath.Join(dir, "bench.yaml")
	if err := os.WriteFile(name, []byte(benchConfig), 0o600); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		var out, errs bytes.Buffer
		if code := run(b.Context(), []string{"rehearse", "-c", name, "--input", "hub=" + file, "--json"}, &out, &errs); code != 0 {
			b.Fatal(errs.String())
		}
		if !bytes.Contains(out.Bytes(), []byte(fmt.Sprintf(`"scans":%d`, *days*86400))) {
			b.Fatalf("not all of it: %s", out.String())
		}
	}
	b.ReportMetric(b.Elapsed().Seconds()/float64(b.N**days), "s/day")
}

func writeDay(b testing.TB, file string) {
	b.Helper()
	w, err := capture.Create(file, capture.Header{Bridge: "hub", Format: "packed", Started: time.Unix(0, 0).UTC()})
	if err != nil {
		b.Fatal(err)
	}
	scans := bodies(64)
	var buf []byte
	for k := range *days * 86400 {
		f := frame.Frame{Kind: frame.Readings, Source: 7, Seq: uint32(k), Millis: uint32(k) * 1000, Readings: scans[k%64]}
		if buf, err = frame.AppendWire(buf[:0], &f, frame.U12); err != nil {
			b.Fatal(err)
		}
		if err := w.Record(sample.Instant(k)*sample.Instant(time.Second), buf); err != nil {
			b.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		b.Fatal(err)
	}
}
