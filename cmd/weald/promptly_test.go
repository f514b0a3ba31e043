package main

import (
	"context"
	"flag"
	"fmt"
	"math/rand/v2"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"weald/ingest/frame"
)

var raises = flag.Int("raises", 0, "how many alerts TestAnAlertIsToldAtOnce raises, up to 900")

// A frame raises an alert, and a viewer is told of it, once it is on the disk with
// every reading before it: for how long that takes from when the frame is sent, by
// a daemon with little else to do, and by those that keep twenty mats of 2,048 cells
// at ten scans a second and a ward of 200 at one. The machine must do nothing else.
func TestAnAlertIsToldAtOnce(t *testing.T) {
	if *raises == 0 {
		t.Skip("by hand: -raises 400, 20 s for each line")
	}
	for _, c := range []struct{ mats, rate int }{{1, 10}, {20, 10}, {200, 1}} {
		t.Run(fmt.Sprintf("beside %d mats at %d a second", c.mats, c.rate), func(t *testing.T) {
			took, bare := tellsOf(t, c.mats, c.rate, *raises)
			t.Logf("%d raises: %s; two bare syncs: %s", len(took), spread(took), spread(bare))
			if p99 := took[(len(took)-1)*99/100]; p99 > 20*time.Millisecond {
				t.Errorf("one in a hundred takes longer than %v", p99)
			}
		})
	}
}

func spread(took []time.Duration) string {
	at := func(share int) time.Duration { return took[(len(took)-1)*share/100].Round(time.Microsecond) }
	return fmt.Sprintf("p50 %v, p90 %v, p99 %v, longest %v", at(50), at(90), at(99), at(100))
}

// tellsOf returns, in order, how long each of n raises takes, and how long it takes
// at the same time to write a page to the same disk twice, which is what a raise has
// to wait for at least: the readings before it, and the alert.
func tellsOf(t *testing.T, mats, rate, n int) (took, bare []time.Duration) {
	ward, board := boardOn(t), boardOn(t)
	ctx, stop := context.WithCancel(t.Context())
	var sending sync.WaitGroup
	defer sending.Wait()
	defer stop()
	sending.Go(func() { beds(ctx, ward, rate, 1) })

	config := strings.Replace(bedsConfig(mats, rate, ward.Addr().String()), "places:\n", fmt.Sprintf(`
  - {id: board, link: {tcp: {dial: %q}}, format: packed, sources: [{number: 1, id: leg, channels: 1, rate: 20, unit: mmHg}]}
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [board/leg/0]}]}
`, board.Addr()), 1)
	for i := range n {
		config += fmt.Sprintf("  - {id: above-%d, at: {place: bench-1}, limit: {watch: ankle.pressure, above: %d}, priority: low}\n", i, i)
	}
	name := write(t, "ward.yaml", config)
	v := launch(t, name)
	conn, err := board.Accept()
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()

	var mu sync.Mutex
	sent := make([]time.Time, n)
	all := make(chan struct{})
	watch(t, v.address, func(one told) {
		came := time.Now()
		_, rule, found := strings.Cut(one.id, "~above-")
		if !found || one.what != "raised" {
			return
		}
		var i int
		if _, err := fmt.Sscanf(rule, "%d~", &i); err != nil {
			t.Errorf("alert %q: %v", one.id, err)
			return
		}
		mu.Lock()
		defer mu.Unlock()
		if took = append(took, came.Sub(sent[i])); len(took) == n {
			close(all)
		}
	})
	time.Sleep(2 * time.Second) // until the mats have begun
	page, err := os.Create(filepath.Join(filepath.Dir(name), "page"))
	if err != nil {
		t.Fatal(err)
	}
	defer page.Close()
	began := time.Now()
	for i := range n {
		time.Sleep(time.Duration(15+rand.IntN(20)) * time.Millisecond)
		bare = append(bare, twoSyncs(t, page))
		time.Sleep(time.Duration(15+rand.IntN(20)) * time.Millisecond)
		f := &frame.Frame{Kind: frame.Readings, Source: 1, Seq: uint32(i), Millis: uint32(time.Since(began).Milliseconds()), Readings: []float64{float64(i) + 1}}
		b, err := frame.AppendWire(nil, f, frame.U16)
		if err != nil {
			t.Fatal(err)
		}
		mu.Lock()
		sent[i] = time.Now()
		mu.Unlock()
		if _, err := conn.Write(b); err != nil {
			t.Fatal(err)
		}
	}
	select {
	case <-all:
	case <-time.After(10 * time.Second):
		mu.Lock()
		defer mu.Unlock()
		t.Fatalf("of %d alerts %d were told; the daemon says %s", n, len(took), v.stderr.String())
	}
	lasted := time.Since(began) // what the mats send while the daemon ends is nobody's
	v.end()
	want := int(float64(rate) * lasted.Seconds() * 0.9)
	if scans := len(seqsKept(t, filepath.Join(filepath.Dir(name), "record"), fmt.Sprintf("hub-%d/mat", mats-1))); scans < want {
		t.Errorf("of the last mat %d scans were kept, fewer than %d", scans, want)
	}
	slices.Sort(took)
	slices.Sort(bare)
	return took, bare
}

func twoSyncs(t *testing.T, f *os.File) time.Duration {
	began := time.Now()
	for range 2 {
		if _, err := f.WriteAt(make([]byte, 4096), 0); err != nil {
			t.Fatal(err)
		}
		if err := f.Sync(); err != nil {
			t.Fatal(err)
		}
	}
	return time.Since(began)
}

func boardOn(t *testing.T) net.Listener {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	return l
}
