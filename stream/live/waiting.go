package live

import (
	"sync"
	"sync/atomic"
)

// placeBytes is how many bytes of views go out before the viewer must have
// answered a ping; a single view may be larger.
const placeBytes = 4096

// waitingPlaces holds the newest view of each place that a viewer has still to
// be sent. It cannot grow beyond one a place.
type waitingPlaces struct {
	mu    sync.Mutex
	body  [][]byte // by place, nil for none; guarded by mu, as is all below
	count int
	turn  int
}

// put replaces an older view of the same place.
func (w *waitingPlaces) put(place int, body []byte) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.body[place] == nil {
		w.count++
	}
	w.body[place] = body
}

// take removes and returns the next batch, round robin.
func (w *waitingPlaces) take() (batch [][]byte) {
	w.mu.Lock()
	defer w.mu.Unlock()
	size := 0
	for range w.body {
		if w.count == 0 || size >= placeBytes {
			break
		}
		if b := w.body[w.turn]; b != nil {
			batch, size = append(batch, b), size+len(b)
			w.body[w.turn] = nil
			w.count--
		}
		w.turn = (w.turn + 1) % len(w.body)
	}
	return batch
}

// forget drops all views.
func (w *waitingPlaces) forget() {
	w.mu.Lock()
	defer w.mu.Unlock()
	clear(w.body)
	w.count = 0
}

// Reasons why a connection ended, for the metric.
const (
	endedByViewer = "viewer" // it went away, or its network did
	endedSlow     = "slow"   // it took nothing for too long, or let alerts pile up
	endedLies     = "broke"  // it broke the protocol
	endedByUs     = "closed" // the daemon stopped
)

// Ends are the reasons why connections end.
var Ends = [...]string{endedByViewer, endedSlow, endedLies, endedByUs}

type counters [len(Ends)]atomic.Uint64

func (c *counters) count(why string) {
	for i := range Ends {
		if Ends[i] == why {
			c[i].Add(1)
		}
	}
}

// Ended returns how many connections have ended for one of the reasons Ends.
func (h *Hub) Ended(why string) uint64 {
	for i := range Ends {
		if Ends[i] == why {
			return h.ended[i].Load()
		}
	}
	return 0
}
