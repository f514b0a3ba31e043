package main

import (
	"runtime/debug"
	"runtime/metrics"
	"time"
)

// A daemon holds much for long, the state of cells and the history, nearly all of it
// without pointers, which costs next to nothing to collect beside; and it makes little
// that it does not hold. So garbage is collected by its amount: where the share of it
// is left as it is, a ward of mats takes twice the room that it needs.
const (
	headroom  = 12 << 20        // bytes of garbage that may be there
	leastLeft = 6               // and what they are at least and at most, in % of what is held
	mostLeft  = 100             // the default of the language
	lookAt    = 5 * time.Second // how much is held
)

// shareOf is how much garbage may be there where so many bytes are held, in %.
func shareOf(held uint64) int {
	return int(min(max(headroom*100/max(held, 1), leastLeft), mostLeft))
}

// collectOften sees to that until what it returns is called.
func collectOften() (end func()) {
	before := debug.SetGCPercent(mostLeft)
	done, ended := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(ended)
		live := []metrics.Sample{{Name: "/gc/heap/live:bytes"}}
		tick := time.NewTicker(lookAt)
		defer tick.Stop()
		for last := mostLeft; ; {
			metrics.Read(live)
			if share := shareOf(live[0].Value.Uint64()); share != last {
				debug.SetGCPercent(share)
				last = share
			}
			select {
			case <-tick.C:
			case <-done:
				return
			}
		}
	}()
	return func() {
		close(done)
		<-ended
		debug.SetGCPercent(before)
	}
}
