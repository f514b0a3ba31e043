package main

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"
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
	bell := newBell(t, n)
	name := write(t, "ward.yaml", bell.hang(playing(t, mats, rate, 1)))
	v := launch(t, name)
	bell.connect()
	watch(t, v.address, bell.hear)
	time.Sleep(2 * time.Second) // until the mats have begun
	page, err := os.Create(filepath.Join(filepath.Dir(name), "page"))
	if err != nil {
		t.Fatal(err)
	}
	defer page.Close()
	began := time.Now()
	for range n {
		time.Sleep(time.Duration(15+rand.IntN(20)) * time.Millisecond)
		bare = append(bare, twoSyncs(t, page))
		time.Sleep(time.Duration(15+rand.IntN(20)) * time.Millisecond)
		bell.ring()
	}
	took, all := bell.heard(10 * time.Second)
	if !all {
		t.Fatalf("of %d alerts %d were told; the daemon says %s", n, len(took), v.stderr.String())
	}
	lasted := time.Since(began) // what the mats send while the daemon ends is nobody's
	v.end()
	want := int(float64(rate) * lasted.Seconds() * 0.9)
	if scans := len(seqsKept(t, filepath.Join(filepath.Dir(name), "record"), fmt.Sprintf("hub-%d/bed", mats))); scans < want {
		t.Errorf("of the last mat %d scans were kept, fewer than %d", scans, want)
	}
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
