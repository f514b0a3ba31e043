package archive

import (
	"context"
	"fmt"
	"hash/crc32"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/history"
	"weald/stream/journal/sqlite"
	"weald/stream/pipeline"
	"weald/stream/record"
	"weald/stream/rehearsal"
)

// many returns n series.
func many(n int) func(int) []pipeline.Series {
	return func(int) (all []pipeline.Series) {
		for i := range n {
			all = append(all, pipeline.Series{Name: fmt.Sprintf("s%d.pressure", i), Unit: "mmHg", Lasts: time.Second})
		}
		return all
	}
}

// past writes what an Archivist would have kept of n series over some time:
// seconds a minute at a time if they are wanted, minutes and quarters an hour at
// a time.
func past(b *testing.B, n int, from, to sample.Instant, seconds bool) (store *sqlite.Store, dir string) {
	b.Helper()
	dir = b.TempDir()
	store, err := sqlite.Open(b.Context(), dir, sqlite.Options{Reserve: -1})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { store.Close() })
	r := rand.New(rand.NewPCG(1, 1))
	stretch := func(series string, tier record.Tier, from, to sample.Instant) record.Stretch {
		s := record.Stretch{Place: "bench-1", Series: series, Tier: tier}
		for at := from; at < to; at += sample.Instant(tier.Step()) {
			v := float32(40 + r.NormFloat64())
			s.Points = append(s.Points, record.Point{At: at, Min: v - 2, Mean: v, Max: v + 2})
		}
		return s
	}
	for h := from; h < to; h += hour {
		var out []record.Stretch
		for _, s := range many(n)(0) {
			if seconds {
				for m := h; m < h+hour; m += sample.Instant(time.Minute) {
					out = append(out, stretch(s.Name, record.Second, m, m+sample.Instant(time.Minute)))
				}
			}
			out = append(out, stretch(s.Name, record.Minute, h, h+hour), stretch(s.Name, record.Quarter, h, h+hour))
		}
		if err := store.PutHistory(b.Context(), out...); err != nil {
			b.Fatal(err)
		}
	}
	return store, dir
}

func ask(b *testing.B, n int, from, to sample.Instant, points int, seconds bool) {
	store, dir := past(b, n, from, to, seconds)
	reader := NewReader(history.New(1, many(n)), ids, store)
	bare := time.Duration(0)
	for b.Loop() {
		b.StopTimer()
		bare += bareRead(b, dir)
		b.StartTimer()
		a, err := reader.Query(b.Context(), history.Query{From: from, To: to, Points: points})
		if err != nil {
			b.Fatal(err)
		}
		if l := a.Series[n-1]; len(l.T) < points/2 || l.Mean[len(l.T)/2] != l.Mean[len(l.T)/2] {
			b.Fatalf("%d points", len(l.T))
		}
	}
	b.ReportMetric(float64(b.Elapsed())/float64(bare), "x-bare")
}

// bareRead reads all that a record keeps of history and other than readings, and
// makes a sum of its bytes: what reading has to cost at least.
func bareRead(b *testing.B, dir string) time.Duration {
	began := time.Now()
	names, err := filepath.Glob(filepath.Join(dir, "weald.db*"))
	if err != nil || len(names) == 0 {
		b.Fatal(names, err)
	}
	var all uint32
	for _, name := range names {
		in, err := os.ReadFile(name)
		if err != nil {
			b.Fatal(err)
		}
		all = crc32.Update(all, crc32.IEEETable, in)
	}
	return time.Since(began)
}

// Eight hours of 24 channels, at the width of a page and of a wall.
func BenchmarkEightHours(b *testing.B) {
	from := sample.At(time.Date(2025, 11, 24, 22, 0, 0, 0, time.UTC))
	for _, points := range []int{600, 2000} {
		b.Run(fmt.Sprint(points), func(b *testing.B) { ask(b, 24, from, from+8*hour, points, true) })
	}
}

// A month of what a mat and its six regions did: 22 series.
func BenchmarkMonth(b *testing.B) {
	from := sample.At(time.Date(2025, 11, 1, 0, 0, 0, 0, time.UTC))
	for _, points := range []int{600, 2000, 5000} {
		b.Run(fmt.Sprint(points), func(b *testing.B) { ask(b, 22, from, from+30*24*hour, points, false) })
	}
}

// The fields, 20 limits and 20 delays each, of six regions over a week that was
// kept at 1/s, from the store to the counts.
func BenchmarkFieldsOfAWeek(b *testing.B) {
	const regions = 6
	from := sample.At(time.Date(2025, 11, 3, 0, 0, 0, 0, time.UTC))
	to := from + 7*24*hour
	store, _ := past(b, regions, from, to, true)
	reader := NewReader(history.New(1, many(regions)), ids, store)
	for b.Loop() {
		for i := range regions {
			limit := 40.0
			place := &rules.Place{ID: ids[0], Kind: rules.Wrap, Sites: []rules.Site{{ID: fmt.Sprint("s", i)}}}
			v, err := place.Vary(&rules.Rule{ID: "tight", Limit: &rules.Limit{Watch: fmt.Sprintf("s%d.pressure", i), Above: &limit}, ForgetAfter: rules.DefaultForgetAfter})
			if err != nil {
				b.Fatal(err)
			}
			read := func(ctx context.Context, signal string, from, to sample.Instant, dst []record.Point) ([]record.Point, error) {
				return reader.Seconds(ctx, 0, signal, from, to, dst)
			}
			t, err := rehearsal.ReadSeconds(b.Context(), v, from, to, read, func(float64) {})
			if err != nil || t.Known != 7*24*time.Hour {
				b.Fatal(t.Known, err)
			}
			f, err := rehearsal.FieldOf(b.Context(), v, &t.Trace, rehearsal.Limits(v, t), rehearsal.Delays(time.Minute), func(float64) {})
			if err != nil || len(f.Raised) != rehearsal.FieldSize {
				b.Fatal(err)
			}
		}
	}
}
