package filelink

import (
	"io"
	"os"
	"sync"
	"time"
)

// A piece is bytes that come together.
type piece struct {
	bytes []byte        // valid until the next piece is asked for
	at    time.Duration // when, since the first piece
	again bool          // they may have come before
}

// paced gives each piece when its time has come.
type paced struct {
	closer io.Closer
	next   func() (piece, error)
	whole  bool
	speed  float64
	began  time.Time

	rest  []byte // of the present piece
	again bool

	once   sync.Once
	closed chan struct{}
}

// Read waits until the next piece is due. A piece that is larger than p comes
// in several reads, one after the other.
func (r *paced) Read(p []byte) (int, error) {
	for len(r.rest) == 0 {
		next, err := r.next()
		if err != nil {
			return 0, err
		}
		r.rest, r.again = next.bytes, next.again
		due := r.began.Add(time.Duration(float64(next.at) / r.speed))
		if !r.wait(time.Until(due)) {
			return 0, os.ErrClosed
		}
	}
	n := copy(p, r.rest)
	r.rest = r.rest[n:]
	return n, nil
}

// Whole reports whether each piece is one message.
func (r *paced) Whole() bool { return r.whole }

// pacedMarked is one of a capture whose link may have delivered messages again.
type pacedMarked struct{ *paced }

// Again reports whether the present piece may have come before.
func (r pacedMarked) Again() bool { return r.again }

// wait reports whether the wait was not ended by Close.
func (r *paced) wait(d time.Duration) bool {
	timer := time.NewTimer(max(d, 0))
	defer timer.Stop()
	select {
	case <-r.closed:
		return false
	case <-timer.C:
		return true
	}
}

// Close ends a waiting Read.
func (r *paced) Close() (err error) {
	r.once.Do(func() {
		close(r.closed)
		err = r.closer.Close()
	})
	return err
}
