package main

import (
	"encoding/json"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/gorilla/websocket"

	"weald/stream/live"
	"weald/stream/view"
)

// A told is a change of an alert that a viewer was told of.
type told struct {
	what, id string
	at       time.Time // when it was raised or cleared
}

// A viewer has the pages open, and remembers every change of an alert that it is
// told of, until the daemon does not answer any more.
type viewer struct {
	mu   sync.Mutex
	told []told
	done chan struct{}
}

func look(t *testing.T, address string) *viewer {
	t.Helper()
	v := &viewer{}
	v.done = watch(t, address, func(one told) {
		v.mu.Lock()
		defer v.mu.Unlock()
		v.told = append(v.told, one)
	})
	return v
}

// follow is the connection of a page, with a wish; each gets what comes, until the daemon does
// not answer any more or the test ends, which closes done.
func follow(t *testing.T, address, wish string, each func(conn *websocket.Conn, kind int, body []byte)) (done chan struct{}) {
	t.Helper()
	dialer := websocket.Dialer{Subprotocols: []string{live.Protocol}, HandshakeTimeout: 10 * time.Second, EnableCompression: true}
	conn, _, err := dialer.Dial("ws"+strings.TrimPrefix(address, "http")+"/live", http.Header{"Origin": {address}})
	must(t, err)
	must(t, conn.WriteMessage(websocket.TextMessage, []byte(wish)))
	done = make(chan struct{})
	t.Cleanup(func() { conn.Close(); <-done })
	go func() {
		defer close(done)
		for {
			kind, body, err := conn.ReadMessage()
			if err != nil {
				return
			}
			each(conn, kind, body)
		}
	}()
	return done
}

// watch calls tell with every change of an alert that a viewer is told of, until the
// daemon does not answer any more, and then closes done.
func watch(t *testing.T, address string, tell func(told)) (done chan struct{}) {
	t.Helper()
	return follow(t, address, `{"subscribe": {"places": "all"}}`, func(_ *websocket.Conn, _ int, body []byte) {
		var m struct {
			Event, What string
			Alert       view.Alert
		}
		if json.Unmarshal(body, &m) != nil || m.Event != "alert" {
			return
		}
		one := told{what: m.What, id: m.Alert.ID}
		switch {
		case m.What == "raised" && m.Alert.RaisedAt != nil:
			one.at = *m.Alert.RaisedAt
		case m.What == "cleared" && m.Alert.ClearedAt != nil:
			one.at = *m.Alert.ClearedAt
		}
		tell(one)
	})
}

// all returns what it was told so far.
func (v *viewer) all() []told {
	v.mu.Lock()
	defer v.mu.Unlock()
	return append([]told(nil), v.told...)
}

// count returns how often it was told of a change of the alerts of a rule.
func (v *viewer) count(what, rule string) (n int) {
	for _, one := range v.all() {
		if one.what == what && strings.Contains(one.id, "~"+rule+"~") {
			n++
		}
	}
	return n
}
