package sqlite

import (
	"context"
	"flag"
	"fmt"
	"math"
	"path/filepath"
	"runtime"
	"slices"
	"sync"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// large makes benchmarks of large records as large as this, in megabytes.
var large = flag.Int("large", 64, "megabytes of a large record, in benchmarks")

// ward are the blocks of one second of some mats; ordinals are renewed by next.
type ward struct {
	blocks []record.Block
	ord    uint64
	at     sample.Instant
	cells  int
}

func newWard(mats, cells, scans int) *ward {
	w := &ward{ord: 1, at: journaltest.Noon, cells: mats * cells * scans}
	for m := range mats {
		w.blocks = append(w.blocks, matBlock(fmt.Sprintf("hub-%d/mat", m), 1, cells, scans, w.at))
	}
	return w
}

// next gives the blocks the next second's ordinals and instants.
func (w *ward) next() []record.Block {
	w.at += 1e9
	for i := range w.blocks {
		for k := range w.blocks[i].Scans {
			s := &w.blocks[i].Scans[k]
			s.Ord, s.At, s.Arrived, s.Seq = w.ord, w.at+sample.Instant(k)*1e8, w.at+sample.Instant(k)*1e8+2e6, uint32(w.ord)
			w.ord++
		}
	}
	return w.blocks
}

// Blocks, durable. MB/s are of raw readings (two bytes each), as they would be
// without compression; disk-MB/s are what reaches the file.
func BenchmarkAppendReadings(b *testing.B) {
	for _, mats := range []int{1, 20, 200} {
		b.Run(fmt.Sprintf("%d mats of 2048", mats), func(b *testing.B) {
			dir := b.TempDir()
			s := mustOpen(b, dir)
			w := newWard(mats, 2048, 10)
			b.SetBytes(int64(2 * w.cells))
			var longest time.Duration
			for b.Loop() {
				began := time.Now()
				if err := s.AppendReadings(b.Context(), w.next(), nil); err != nil {
					b.Fatal(err)
				}
				longest = max(longest, time.Since(began))
			}
			disk := size(b, s)
			b.ReportMetric(float64(disk)/1e6/b.Elapsed().Seconds(), "disk-MB/s")
			b.ReportMetric(float64(disk)/float64(b.N)/float64(w.cells), "B/cell")
			b.ReportMetric(longest.Seconds()*1e3, "ms-longest")
		})
	}
}

// The same from mats with a scan a second, whose blocks grow to ten: every call
// brings the scans of a second. ms are for one call.
func BenchmarkGrow(b *testing.B) {
	for _, mats := range []int{1, 20, 200} {
		b.Run(fmt.Sprintf("%d mats of 2048", mats), func(b *testing.B) {
			s := mustOpen(b, b.TempDir())
			w := newWard(mats, 2048, 10)
			part := make([]record.Block, mats)
			var took []time.Duration
			n := 10
			for b.Loop() {
				if n++; n > 10 {
					w.next()
					n = 1
				}
				for i := range part {
					part[i] = partly(w.blocks[i], n)
				}
				began := time.Now()
				if err := s.AppendReadings(b.Context(), part, nil); err != nil {
					b.Fatal(err)
				}
				took = append(took, time.Since(began))
			}
			b.SetBytes(int64(2 * mats * 2048))
			slices.Sort(took)
			b.ReportMetric(took[len(took)/2].Seconds()*1e3, "ms-p50")
			b.ReportMetric(took[len(took)*99/100].Seconds()*1e3, "ms-p99")
		})
	}
}

func size(b *testing.B, s *Store) (n int64) {
	files, err := s.files()
	if err != nil {
		b.Fatal(err)
	}
	for _, f := range files {
		n += f.bytes
	}
	return n
}

// An alert becomes durable, alone and while twenty mats are written.
func BenchmarkAppendAlert(b *testing.B) {
	for _, busy := range []bool{false, true} {
		b.Run(map[bool]string{false: "idle", true: "beside 20 mats at 10 a second"}[busy], func(b *testing.B) {
			s := mustOpen(b, b.TempDir())
			ctx, stop := context.WithCancel(b.Context())
			var wg sync.WaitGroup
			if busy {
				w := newWard(20, 2048, 10)
				wg.Go(func() {
					for tick := time.NewTicker(time.Second); ctx.Err() == nil; {
						if err := s.AppendReadings(context.WithoutCancel(ctx), w.next(), nil); err != nil {
							b.Error(err)
						}
						select {
						case <-tick.C:
						case <-ctx.Done():
						}
					}
				})
			}
			e := record.Entry{Place: "bench-1", Body: record.Transition{}}
			var took []time.Duration
			for b.Loop() {
				began := time.Now()
				if _, err := s.Append(b.Context(), e); err != nil {
					b.Fatal(err)
				}
				took = append(took, time.Since(began))
			}
			stop()
			wg.Wait()
			slices.Sort(took)
			for _, p := range []float64{50, 99, 99.9} {
				b.ReportMetric(took[int(float64(len(took)-1)*p/100)].Seconds()*1e3, fmt.Sprintf("ms-p%v", p))
			}
		})
	}
}

// Many alerts at the same time share one sync.
func BenchmarkAppendAtOnce(b *testing.B) {
	s := mustOpen(b, b.TempDir())
	e := record.Entry{Place: "bench-1", Body: record.Transition{}}
	b.SetParallelism(32)
	b.RunParallel(func(p *testing.PB) {
		for p.Next() {
			if _, err := s.Append(b.Context(), e); err != nil {
				b.Error(err)
			}
		}
	})
}

// largeRecord writes a record of some megabytes, over some days.
func largeRecord(b *testing.B, days int) (dir string, w *ward) {
	dir = b.TempDir()
	s := mustOpen(b, dir)
	w = newWard(20, 2048, 10)
	for day := range days {
		w.at = journaltest.Noon.Add(time.Duration(day) * 24 * time.Hour)
		for n := int64(0); ; n++ {
			if err := s.AppendReadings(b.Context(), w.next(), nil); err != nil {
				b.Fatal(err)
			}
			if n%16 == 15 && size(b, s) > int64(day+1)*int64(*large)<<20/int64(days) {
				break
			}
		}
		for range 200 {
			if _, err := s.Append(b.Context(), journaltest.Mark("one of many")); err != nil {
				b.Fatal(err)
			}
		}
	}
	return copyLarge(b, s), w
}

// copyLarge returns the folder as a crash would leave it.
func copyLarge(b *testing.B, s *Store) string {
	dir := copyDir(b, s.dir)
	if err := s.Close(); err != nil {
		b.Fatal(err)
	}
	return dir
}

// A large record is opened, after a crash and after it was closed.
func BenchmarkOpen(b *testing.B) {
	dir, _ := largeRecord(b, 3)
	for _, name := range []string{"after a crash", "closed"} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				b.StopTimer()
				one := dir
				if name == "after a crash" {
					one = copyDir(b, dir) // the next time it would be closed
				}
				b.StartTimer()
				s, err := Open(b.Context(), one, Options{Reserve: testReserve})
				if err != nil {
					b.Fatal(err)
				}
				b.StopTimer()
				if err := s.Close(); err != nil {
					b.Fatal(err)
				}
				b.StartTimer()
			}
			b.ReportMetric(float64(*large), "MB")
		})
	}
}

// The inputs of the last seconds, as a start needs them, and one source's, out of
// a large record; and what that takes of memory.
func BenchmarkReadTail(b *testing.B) {
	dir, w := largeRecord(b, 3)
	s := mustOpen(b, dir)
	h, err := s.Head(b.Context())
	if err != nil {
		b.Fatal(err)
	}
	heap := func() float64 {
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return float64(m.HeapSys) / 1e6
	}
	b.Run("inputs of 20 mats over 10 s", func(b *testing.B) {
		for b.Loop() {
			n := 0
			for _, err := range s.Inputs(b.Context(), h.Ord-2000+1, math.MaxUint64) {
				if n++; err != nil {
					b.Fatal(err)
				}
			}
			if n != 2000 {
				b.Fatalf("%d inputs", n)
			}
		}
		b.ReportMetric(heap(), "heap-MB")
	})
	b.Run("one of 20 mats over 60 s", func(b *testing.B) {
		for b.Loop() {
			n := 0
			for _, err := range s.Readings(b.Context(), "hub-3/mat", w.at.Add(-time.Minute), sample.Never) {
				if n++; err != nil {
					b.Fatal(err)
				}
			}
		}
		b.ReportMetric(heap(), "heap-MB")
	})
}

// Curves: eight hours of 24 series by the second, and a month of 8 by the
// quarter of an hour and by the minute.
func BenchmarkHistory(b *testing.B) {
	s := mustOpen(b, b.TempDir())
	put := func(series int, tier record.Tier, span time.Duration) {
		step := sample.Instant(tier.Step())
		for k := range int(span / tier.Step() / 60) {
			var some []record.Stretch
			for i := range series {
				x := record.Stretch{Place: "bed-4", Series: fmt.Sprint("region-", i), Tier: tier}
				for n := range 60 {
					v := float32(40 + math.Sin(float64(60*k+n)/50)*float64(i+1))
					x.Points = append(x.Points, record.Point{At: journaltest.Noon/step*step + sample.Instant(60*k+n)*step, Min: v - 1, Mean: v, Max: v + 1})
				}
				some = append(some, x)
			}
			if err := s.PutHistory(b.Context(), some...); err != nil {
				b.Fatal(err)
			}
		}
	}
	const month = 30 * 24 * time.Hour
	put(24, record.Second, 8*time.Hour)
	put(8, record.Minute, month)
	put(8, record.Quarter, month)
	for _, c := range []struct {
		series int
		tier   record.Tier
		span   time.Duration
	}{{24, record.Second, 8 * time.Hour}, {24, record.Second, 10 * time.Minute}, {8, record.Minute, month}, {8, record.Quarter, month}} {
		b.Run(fmt.Sprintf("%d series by %v over %v", c.series, c.tier, c.span), func(b *testing.B) {
			for b.Loop() {
				for i := range c.series {
					p, err := s.History(b.Context(), "bed-4", fmt.Sprint("region-", i), c.tier, journaltest.Noon, journaltest.Noon.Add(c.span), nil)
					if err != nil || len(p) < int(c.span/c.tier.Step())-1 {
						b.Fatal(len(p), err)
					}
				}
			}
		})
	}
}

// Whole records are copied, checked and built anew.
func BenchmarkWhole(b *testing.B) {
	dir, _ := largeRecord(b, 1)
	s := mustOpen(b, dir)
	b.SetBytes(size(b, s))
	b.Run("backup", func(b *testing.B) {
		b.SetBytes(size(b, s))
		for b.Loop() {
			if _, err := s.Backup(b.Context(), filepath.Join(b.TempDir(), "backup"), nil); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("check", func(b *testing.B) {
		b.SetBytes(size(b, s))
		for b.Loop() {
			journaltest.Sound(b, s)
		}
	})
	b.Run("mend", func(b *testing.B) {
		b.SetBytes(size(b, s))
		for b.Loop() {
			s.days.mends = map[string]int{}
			if err := s.days.mendSeen(b.Context(), dayFile(journaltest.Noon), journal.ErrBroken, 0); err != nil {
				b.Fatal(err)
			}
		}
	})
}
