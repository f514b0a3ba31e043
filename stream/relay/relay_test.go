package relay

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/stream/journal/replicated/natstest"
	"weald/stream/record"
)

func scan(n int) record.Scan {
	at := sample.At(time.Date(2026, 3, 1, 0, 0, n, 0, time.UTC))
	return record.Scan{At: at, Arrived: at.Add(5 * time.Millisecond), Seq: uint32(n), First: uint32(n), Rail: math.NaN(), Raw: []float64{float64(n), math.NaN(), 7}}
}

// A taker gathers what a Follower gives.
type taker struct {
	mu    sync.Mutex
	items []Item
}

func (t *taker) take(i Item) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.items = append(t.items, i)
}

// seqs lists the numbers of what came from a source.
func (t *taker) seqs(source string) (all []uint32) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for _, i := range t.items {
		if i.Source == source {
			all = append(all, i.Scan.Seq)
		}
	}
	return all
}

// taken is what a judge takes of what arrived after an instant, until it has all that is there.
func taken(t *testing.T, conn *nats.Conn, o Options, after sample.Instant, log *slog.Logger) *taker {
	t.Helper()
	got, abreast := &taker{}, make(chan struct{})
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	f := &Follower{Conn: conn, Options: o, After: after, Take: got.take, Log: log, Abreast: func() { close(abreast) }}
	go func() { _ = f.Run(ctx) }()
	select {
	case <-abreast:
	case <-time.After(time.Minute):
		t.Fatal("it does not come to the end")
	}
	return got
}

func (t *taker) len() int {
	t.mu.Lock()
	defer t.mu.Unlock()
	return len(t.items)
}

// Scans of two sources come once and in order, through servers of which each is stopped in
// turn and a second writer that takes the place of the first: what the first one would write
// after that is not safe, and ends it. Arrivals ascend all the while.
func TestScansComeOnceAndInOrder(t *testing.T) {
	t.Parallel()
	c := natstest.Serve(t, 3)
	o := Options{Name: "ward", Replicas: 3, Keep: time.Hour}
	conn := c.Connect()
	ctx, stop := context.WithCancel(t.Context())
	var running sync.WaitGroup
	defer running.Wait()
	defer stop()
	got := &taker{}
	abreast := make(chan struct{})
	f := &Follower{Conn: conn, Options: o, After: sample.Past, Take: got.take, Log: slog.New(slog.DiscardHandler), Abreast: func() { close(abreast) }}
	running.Go(func() { _ = f.Run(ctx) })
	<-abreast // there is nothing yet, and no stream

	writer := func(ends error) *Writer {
		t.Helper()
		var w *Writer
		c.Eventually("no writer begins", func() bool { // servers may be about to agree on who leads
			var err error
			w, err = NewWriter(ctx, c.Connect(), o, slog.New(slog.DiscardHandler))
			return err == nil
		})
		running.Go(func() {
			if err := w.Run(ctx); !errors.Is(err, ends) {
				t.Errorf("it ended with %v, and not with %v", err, ends)
			}
		})
		return w
	}
	put := func(w *Writer, source string, n int) <-chan struct{} {
		safe, err := w.Put(ctx, source, scan(n))
		if err != nil {
			t.Fatal(err)
		}
		return safe
	}
	first := writer(ErrLost)
	var safe <-chan struct{}
	for n := range 60 {
		put(first, "hub/a", n)
		if safe = put(first, "hub/b", n); n%20 == 10 {
			c.Stop(n / 20)
			<-safe
			c.Start(n / 20)
		}
	}
	<-safe
	second := writer(context.Canceled)
	if second.Last() != first.Last() {
		t.Errorf("the second begins at %v, the first ended at %v", second.Last(), first.Last())
	}
	frozen := put(first, "hub/a", 1000) // as by one that does not know
	for n := 30; n < 90; n++ {          // its clock is behind
		safe = put(second, "hub/a", n)
	}
	<-safe
	select {
	case <-frozen:
		t.Error("a scan is safe that nobody judges")
	default:
	}
	c.Eventually("not all scans come", func() bool { return got.len() >= 180 })
	want := ""
	for n := range 60 {
		want += fmt.Sprint(n, " ")
	}
	if b := fmt.Sprint(got.seqs("hub/b")); b != "["+want[:len(want)-1]+"]" {
		t.Errorf("of b came %s", b)
	}
	for n := 30; n < 90; n++ {
		want += fmt.Sprint(n, " ")
	}
	if a := fmt.Sprint(got.seqs("hub/a")); a != "["+want[:len(want)-1]+"]" {
		t.Errorf("of a came %s", a)
	}
	last := sample.Past
	for _, i := range got.items {
		if i.Scan.Arrived <= last || i.Scan.At != scan(int(i.Scan.Seq)).At || !math.IsNaN(i.Scan.Raw[1]) {
			t.Fatalf("arrival %v after %v of %+v", i.Scan.Arrived, last, i)
		}
		last = i.Scan.Arrived
	}

	// A judge that begins later gets what was there, and is told when it has it.
	late, all := &taker{}, make(chan int, 1)
	f = &Follower{Conn: conn, Options: o, After: sample.Past, Take: late.take, Log: slog.New(slog.DiscardHandler), Abreast: func() { all <- late.len() }}
	running.Go(func() { _ = f.Run(ctx) })
	if n := <-all; n != 180 {
		t.Errorf("abreast after %d scans", n)
	}
	// One that has all of them is abreast at once.
	f = &Follower{Conn: conn, Options: o, After: second.Last(), Take: late.take, Log: slog.New(slog.DiscardHandler), Abreast: func() { all <- 0 }}
	running.Go(func() { _ = f.Run(ctx) })
	if n := <-all; n != 0 {
		t.Errorf("abreast after %d scans", n)
	}
}

// Whatever is packed is unpacked again, in messages that are no longer than they may be.
func TestMessages(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		var items []Item
		for n := range rapid.IntRange(1, 40).Draw(t, "scans") {
			s := scan(n)
			s.Raw = rapid.SliceOfN(rapid.Float64Range(0, 4095), 1, 3).Draw(t, "raw")
			items = append(items, Item{rapid.SampledFrom([]string{"hub/a", "hub/b"}).Draw(t, "source"), s})
		}
		const most = 300
		var back []Item
		for rest := items; len(rest) > 0; {
			b, n, err := pack(nil, rest, most)
			if err != nil || n < 1 {
				t.Fatal(n, err)
			}
			if len(b) > most && n > mostRun {
				t.Fatalf("%d scans in %d bytes", n, len(b))
			}
			if err := unpack(b, func(i Item) { back = append(back, i) }); err != nil {
				t.Fatal(err)
			}
			if cut := rapid.IntRange(1, len(b)-1).Draw(t, "cut"); unpack(b[:cut], func(Item) {}) == nil && n < 2 && cut > 1 {
				t.Fatalf("of %d bytes %d pass for all", len(b), cut)
			}
			rest = rest[n:]
		}
		if len(back) != len(items) {
			t.Fatalf("%d of %d scans come back", len(back), len(items))
		}
		for i := range items {
			got, want := back[i], items[i]
			if got.Source != want.Source || got.Scan.Seq != want.Scan.Seq || fmt.Sprint(got.Scan.Raw) != fmt.Sprint(want.Scan.Raw) {
				t.Fatalf("%+v comes back as %+v", want, got)
			}
		}
	})
}
