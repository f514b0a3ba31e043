package live

import (
	"errors"
	"sync"
	"time"
)

// mostUnconfirmed is how many binary frames a viewer may have to confirm.
const mostUnconfirmed = 4

// A viewer whose confirmations take longer than slowAfter is allowed one frame
// less, down to one, and one more when they take less than quickAfter: four
// maps on a thin link would be most of a second's worth of waiting.
const (
	slowAfter  = 400 * time.Millisecond
	quickAfter = 200 * time.Millisecond
)

var errNotSent = errors.New("confirms a frame that was never sent")

// A flow counts binary frames out and confirmations in. Frames are numbered
// from 1; numbers wrap.
type flow struct {
	mu    sync.Mutex
	sent  uint32                     // guarded by mu, as is all below
	got   uint32                     //
	limit int                        // mostUnconfirmed or less
	when  [mostUnconfirmed]time.Time // by number modulo
}

// room reports whether a frame may be sent.
func (f *flow) room() bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	return int(f.sent-f.got) < f.limit
}

// number returns the number of the frame that is sent now.
func (f *flow) number(now time.Time) uint32 {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.sent++
	f.when[f.sent%mostUnconfirmed] = now
	return f.sent
}

// confirm takes the viewer's word that it has frames up to n, and reports whether it
// has not said so before.
func (f *flow) confirm(n uint32, now time.Time) (bool, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if n-f.got > f.sent-f.got {
		if f.got-n < mostUnconfirmed {
			return false, nil // a repetition of what was said before
		}
		return false, errNotSent
	}
	if n == f.got {
		return false, nil
	}
	switch took := now.Sub(f.when[n%mostUnconfirmed]); {
	case took > slowAfter:
		f.limit = max(1, f.limit-1)
	case took < quickAfter:
		f.limit = min(mostUnconfirmed, f.limit+1)
	}
	f.got = n
	return true, nil
}
