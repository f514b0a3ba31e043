package main

import (
	"fmt"
	"net/http"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"weald/ingest/raced"
	"weald/stream/journal/replicated/natstest"
)

// The disk of the machine that does the work fills, under load. Another that stands by, and
// has all that there is, takes over; the full one stands by, says why it could not, and takes
// in what it has missed when there is room, also where it was started anew meanwhile. Nothing
// that was acknowledged is lost or doubled.
func TestAMachineWithAFullDiskGivesWay(t *testing.T) {
	t.Parallel()
	raced.Skip(t, "a disk that fills as fast as a daemon goes")
	disk := smallDisk(t, "64m")
	if disk == "" {
		t.Skip("not allowed to mount a small file system")
	}
	servers := natstest.Serve(t, 1)
	board, ctx, busy, end := waving(t)
	defer end()
	paths, addresses := aPair(t, servers.URLs(), board)
	if err := os.Symlink(disk, recordBeside(paths[0])); err != nil {
		t.Fatal(err)
	}
	a := launch(t, paths[0])
	eventually(t, longEnough, func() error {
		_, err := bridge(addresses[0], "board")
		return err
	})
	b := launch(t, paths[1])
	saysSoon(t, b, "/readyz", "weald-a does the work")
	var mu sync.Mutex
	noted, last := map[string]bool{}, -1 // the latter is who took the newest note; guarded by mu
	busy.Go(func() {
		for n := 0; ctx.Err() == nil; n++ {
			for i, address := range addresses {
				words := fmt.Sprintf("note %d", n)
				if done, _ := noteMark(address, "bench-1", words); done {
					mu.Lock()
					noted[words], last = true, i
					mu.Unlock()
					break
				}
			}
			time.Sleep(30 * time.Millisecond)
		}
	})
	noting := func(want int) {
		t.Helper()
		eventually(t, longEnough, func() error {
			mu.Lock()
			defer mu.Unlock()
			if last != want {
				return fmt.Errorf("the newest note is with %d; %s; %s", last, a.stderr.String(), b.stderr.String())
			}
			return nil
		})
	}
	noting(0)
	room := filledDisk(t, disk)
	filled := time.Now()
	noting(1)
	t.Logf("noted again %v after the disk was full", time.Since(filled).Round(time.Millisecond))
	for range 2 {
		saysSoon(t, a, "/readyz", "no room for the record")
		saysSoon(t, a, "/", "weald-b does the work", "no room for the record")
		a.end()
		a = begun(t, newWorld(1), paths[0])
		a.address = addresses[0]
		eventually(t, longEnough, func() error { // it stands by only when it has taken all in
			r, err := http.Get(a.address)
			if err == nil {
				r.Body.Close()
			}
			return err
		})
	}
	room()
	eventually(t, longEnough, func() error {
		if state := text(t, a.address, "/readyz"); strings.Contains(state, "no room") || strings.Contains(state, "has not come") {
			return fmt.Errorf("there is room, and it says %s", state)
		}
		return nil
	})
	b.end()
	noting(0)
	end()
	a.end()
	store, done := recordIn(t, recordBeside(paths[0]))
	marks := tallied(t, store).noted
	done()
	for words := range noted {
		if marks[words] != 1 {
			t.Errorf("%s was acknowledged, and is kept %d times", words, marks[words])
		}
	}
	for words, n := range marks {
		if n != 1 {
			t.Errorf("%s is kept %d times", words, n)
		}
	}
	sameEntries(t, recordBeside(paths[1]), recordBeside(paths[0]))
	sameAlerts(t, kept(t, recordBeside(paths[0])), paths[0])
}
