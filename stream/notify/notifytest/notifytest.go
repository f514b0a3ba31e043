// Package notifytest is for tests of senders: messages to send, and receivers that
// fail.
package notifytest

import (
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/notify"
	"weald/stream/notify/secret"
)

// Noon is when everything here happens.
var Noon = sample.At(time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC))

// Call is a message that somebody has to come.
func Call() *notify.Sending {
	e := alert.Event{At: Noon, Key: alert.Key{Place: "bed-4", Rule: "turn-due", Subject: "bed"}, What: alert.Raised,
		Priority: alert.High, State: alert.Unacknowledged, Tier: 1, Stands: true, Value: 62.5, U: sample.Unknown, Limit: 60,
		Unit: "mmHg", Signal: "mat.peak", Text: "not turned for 2 h – über 60 mmHg"}
	return &notify.Sending{At: Noon.Add(time.Second), Zone: time.UTC, Now: e, Message: notify.Message{
		Sender: "desk", Key: "bed-4~turn-due~bed.7.call.desk", About: notify.Call, Change: 7, Event: &e, Queued: Noon}}
}

// Secret puts a secret into a file that lives as long as the test.
func Secret(t testing.TB, text string) secret.Source {
	t.Helper()
	file := filepath.Join(t.TempDir(), "secret")
	if err := os.WriteFile(file, []byte(text+"\nnot this\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	return secret.Source{File: file}
}

// Serve calls peer with each connection to an address of the loopback, which it
// returns. The calls end with the test.
func Serve(t testing.TB, peer func(net.Conn)) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			t.Cleanup(func() { c.Close() })
			go peer(c)
		}
	}()
	return l.Addr().String()
}
