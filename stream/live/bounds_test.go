package live

import (
	"net/http"
	"testing"
	"testing/synctest"
	"time"

	"github.com/gorilla/websocket"
)

// A viewer may repeat itself a little, and each frame gives it a word; one that talks
// without end is sent away.
func TestViewerThatSaysTooMuchIsSentAway(t *testing.T) {
	for name, word := range map[string]func(*websocket.Conn) error{
		"repetitions": func(c *websocket.Conn) error { return c.WriteMessage(websocket.TextMessage, []byte(`{"got":0}`)) },
		"subscriptions": func(c *websocket.Conn) error {
			return c.WriteMessage(websocket.TextMessage, []byte(`{"subscribe":{"places":"all"}}`))
		},
		"pings": func(c *websocket.Conn) error {
			return c.WriteControl(websocket.PingMessage, nil, time.Now().Add(time.Second))
		},
	} {
		synctest.Test(t, func(t *testing.T) {
			w := newWard(t)
			conn := w.dial(nil)
			w.until(conn, "hello")
			ended := make(chan error, 1)
			go func() {
				var err error
				for err == nil {
					_, err = w.next(conn)
				}
				ended <- err
			}()
			for i := range 20 { // not faster than it may
				if err := word(conn); err != nil {
					t.Fatalf("%s, after %d: %v", name, i, err)
				}
				time.Sleep(extrasEvery)
			}
			said := 0
			for ; word(conn) == nil && said <= 2*mostExtras; said++ {
			}
			if err := <-ended; !websocket.IsCloseError(err, websocket.ClosePolicyViolation) {
				t.Errorf("%s: ended with %v, want 1008", name, err)
			}
			if said < mostExtras || said > mostExtras+5 {
				t.Errorf("%s: sent away after %d", name, said)
			}
			synctest.Wait()
			if w.hub.Ended(endedLies) != 1 {
				t.Errorf("%s: %d were counted", name, w.hub.Ended(endedLies))
			}
		})
	}
}

// As many viewers as there is room for; one more is told to come again.
func TestViewersAreBounded(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := newWard(t)
		full := make([]*client, mostClients)
		w.hub.clients.Store(&full)
		_, res, err := w.knock(nil)
		none := []*client{}
		w.hub.clients.Store(&none)
		if err == nil || res == nil || res.StatusCode != http.StatusServiceUnavailable {
			t.Errorf("one viewer too many: %v %v", res, err)
		}
	})
}
