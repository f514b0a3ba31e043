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
	sub   *subscription // which they are for; guarded by mu, as is all below
	of    []*told       // by place, nil for none
	count int
	turn  int
}

// put replaces an older view of the same place. A view for a subscription that
// has been replaced is dropped: the snapshot of the new one is newer.
func (w *waitingPlaces) put(sub *subscription, place int, t *told) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if sub != w.sub {
		return
	}
	if w.of[place] == nil {
		w.count++
	}
	w.of[place] = t
}

// take removes and returns the next view, round robin, if there is one for a
// subscription.
func (w *waitingPlaces) take(sub *subscription) (place int, t *told) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.count == 0 || sub != w.sub {
		return 0, nil
	}
	for w.of[w.turn] == nil {
		w.turn = (w.turn + 1) % len(w.of)
	}
	place, t = w.turn, w.of[w.turn]
	w.of[place] = nil
	w.count--
	return place, t
}

// begin drops all views, to wait for those of a new subscription.
func (w *waitingPlaces) begin(sub *subscription) {
	w.mu.Lock()
	defer w.mu.Unlock()
	clear(w.of)
	w.sub, w.count = sub, 0
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
