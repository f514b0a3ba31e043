// Package garbage keeps little of it: how much may be there follows how much is held,
// and what has been collected goes back to the system.
package garbage

import (
	"runtime/debug"
	"runtime/metrics"
	"time"
)

// A daemon holds much for long, the state of cells and the history, nearly all of it
// without pointers, which costs next to nothing to collect beside; and it makes little
// that it does not hold. So garbage is collected by its amount: where the share of it
// is left as it is, a ward of mats takes twice the room that it needs. And what has
// been collected goes back to the system, of which a tenth would stay.
const (
	headroom  = 12 << 20    // bytes of garbage that may be there
	leastLeft = 6           // and what they are at least and at most, in % of what is held
	mostLeft  = 100         // the default of the language
	lookAt    = time.Second // how much is held
	slack     = 8 << 20     // bytes that may be there beyond what is held and its garbage
)

// shareOf is how much garbage may be there where so many bytes are held, in %.
func shareOf(held uint64) int {
	return int(min(max(headroom*100/max(held, 1), leastLeft), mostLeft))
}

// A held is what the language tells of memory, in bytes.
type held struct {
	live   uint64 // what the last collection left
	beside uint64 // what is neither in use on the heap nor free
}

var memoryNames = []string{
	"/gc/heap/live:bytes", "/memory/classes/total:bytes", "/memory/classes/heap/objects:bytes",
	"/memory/classes/heap/free:bytes", "/memory/classes/heap/released:bytes",
}

// weigh reads what is held into samples of memoryNames.
func weigh(all []metrics.Sample) held {
	metrics.Read(all)
	of := func(i int) uint64 { return all[i].Value.Uint64() }
	return held{live: of(0), beside: of(1) - of(2) - of(3) - of(4)}
}

// limit is up to where memory may be had before garbage is collected early. The
// language gives back what is free above nineteen parts in twenty of it. What grows by
// more within a look is collected more often until the next; it is not refused.
func (h held) limit() int64 {
	garbage := max(headroom, h.live*leastLeft/100)
	return int64((h.live+garbage+h.beside)/19*20 + slack)
}

// Bound sees to that, for the whole program, until what it returns is called. It is for
// one caller at a time.
func Bound() (end func()) {
	before, limit := debug.SetGCPercent(mostLeft), debug.SetMemoryLimit(-1)
	done, ended := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(ended)
		all := make([]metrics.Sample, len(memoryNames))
		for i, name := range memoryNames {
			all[i].Name = name
		}
		tick := time.NewTicker(lookAt)
		defer tick.Stop()
		for last := mostLeft; ; {
			h := weigh(all)
			if share := shareOf(h.live); share != last {
				debug.SetGCPercent(share)
				last = share
			}
			debug.SetMemoryLimit(min(h.limit(), limit))
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
		debug.SetMemoryLimit(limit)
	}
}
