package main

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"runtime"
	"testing"
	"testing/synctest"
	"time"

	"golang.org/x/sync/errgroup"

	"weald/ingest"
	"weald/ingest/raced"
	"weald/ingest/sample"
	"weald/stream/record"
)

// A pipeLink is a link to somebody who lies on a mat, without a socket: what waits
// for one of those waits in real time.
type pipeLink struct {
	seed uint64
	all  *errgroup.Group
}

func (l pipeLink) Name() string { return "a bed" }

func (l pipeLink) Open(ctx context.Context) (io.ReadCloser, error) {
	r, w := io.Pipe()
	l.all.Go(func() error {
		_ = bed(l.seed, 1, 1).Play(ctx, w) // ends with either side
		return w.Close()
	})
	return r, nil
}

// wardHeap is how many bytes the process holds after a ward of so many beds was
// watched for so long, with a record.
func wardHeap(t *testing.T, mats int, lasting time.Duration) int64 {
	t.Helper()
	dir := t.TempDir()
	path := filepath.Join(dir, "ward.yaml")
	beds, text := manyBeds(t, mats, 1, 1)
	beds.Close()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	var after int64
	synctest.Test(t, func(t *testing.T) {
		ctx, stop := context.WithCancel(t.Context())
		c := configOf(t, path)
		d, err := newDaemon(ctx, c, 1, io.Discard)
		if err != nil {
			t.Fatal(err)
		}
		var all errgroup.Group
		d.ctx = ctx
		for i := range c.Bridges {
			b := bridgeOf(c, &c.Bridges[i], pipeLink{uint64(i + 1), &all})
			b.Sources[0].Index = 0 // the only one of its bridge
			r := &running{spec: c.Bridges[i]}
			if r.line, err = ingest.New(b, ingest.Options{Now: d.clock.Now, Log: slog.New(slog.DiscardHandler), Out: d.taker(r)}); err != nil {
				t.Fatal(err)
			}
			r.seat(d.reign)
			all.Go(func() error { return r.Run(ctx) })
		}
		all.Go(func() error { return d.reign.pipe.Run(ctx) })
		all.Go(func() error { return d.reign.book.run(ctx, d.reign.pipe) })
		all.Go(func() error { return d.reign.book.past.run(ctx) })
		time.Sleep(lasting - time.Minute)
		for range 12 { // it is more before things are kept than after
			time.Sleep(5 * time.Second)
			synctest.Wait()
			after = max(after, heapBytes())
		}
		stop()
		_ = all.Wait()
		if err := errors.Join(d.reign.book.end(), d.closeRecord()); err != nil {
			t.Error(err)
		}
	})
	return after
}

// heapBytes is how many bytes of the heap are in use.
func heapBytes() int64 {
	runtime.GC()
	runtime.GC() // what pools have let go in the first
	var s runtime.MemStats
	runtime.ReadMemStats(&s)
	return int64(s.HeapAlloc)
}

// What a mat may hold, so that 200 of them and the rest stay below 300 MB together
// with what the language, the disk and a snapshot take for a moment: 2,048 cells of 64
// bytes for their health, 8 for what they show and 16 for how sure that is, five of the
// ten scans of a block that fills up, and the history of some ninety signals.
const mostOfAMat = 1 << 20

// A mat more is so much more for a daemon that keeps a record, once it is level.
func TestWhatAMatHolds(t *testing.T) {
	raced.Skip(t, "measures memory")
	warm(t)
	const few, many = 10, 20      // blocks of ten mats fill up in turn
	wardHeap(t, few, time.Minute) // what all wards share is made
	least := wardHeap(t, few, 3*time.Minute)
	each := (wardHeap(t, many, 3*time.Minute) - least) / (many - few)
	t.Logf("a mat holds %d kB, the rest %d kB", each>>10, (least-few*each)>>10)
	if each > mostOfAMat {
		t.Errorf("a mat holds %d bytes, the most is %d", each, mostOfAMat)
	}
}

// warm makes what all of the process shares, such as what the two compressors need for
// something large, and before time is not that of the host.
func warm(t *testing.T) {
	for range 2 {
		b := record.Block{Source: "hub/mat", Scans: []record.Scan{{Ord: 1, At: sample.Instant(1), Raw: []float64{1}}}}
		p, err := b.Append(nil)
		if err == nil {
			_, err = record.DecodeBlock(p)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	for range 2 {
		s := record.Snapshot{Ord: 1, Body: make([]byte, 16<<20)}
		if _, err := s.Append(nil); err != nil {
			t.Fatal(err)
		}
	}
}
