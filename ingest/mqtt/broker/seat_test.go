package broker

import (
	"errors"
	"io"
	"testing"
	"testing/synctest"

	mochi "github.com/mochi-mqtt/server/v2"
)

// A client that is gone before anybody looks, such as one that the listener itself
// sends away at once, was there: who waited is told why it went, and does not wait
// on for the next one.
func TestAClientThatCameAndWent(t *testing.T) {
	for range 100 { // the one who waits may look between the two, or not
		synctest.Test(t, func(t *testing.T) {
			s := newSeat(Account{Bridge: "hub"}, topic("hub"))
			l := (&Broker{seats: map[string]*seat{"hub": s}}).Link("hub")
			opened := make(chan io.ReadCloser, 1)
			go func() {
				c, err := l.Open(t.Context())
				if err != nil {
					t.Error(err)
				}
				opened <- c
			}()
			synctest.Wait()
			sent := errors.New("sent away")
			c := &mochi.Client{}
			s.join(c)
			s.leave(c, sent)
			synctest.Wait()
			select {
			case conn := <-opened:
				if _, err := conn.Read(make([]byte, 16)); !errors.Is(err, sent) {
					t.Errorf("read %v, want why the client went", err)
				}
			default:
				t.Fatal("who waited has seen nobody")
			}
		})
	}
}
