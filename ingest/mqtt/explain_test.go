package mqtt

import (
	"context"
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	paho5 "github.com/eclipse/paho.golang/paho"

	"weald/ingest/mqtt/guard"
	"weald/ingest/tcp/wire/wiretest"
)

// broken is a broker that answers whatever comes with the same bytes.
func broken(t *testing.T, answer string) (address string) {
	t.Helper()
	l := wiretest.Listen(t)
	done := make(chan struct{})
	go func() {
		defer close(done)
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			c.SetDeadline(time.Now().Add(soon))
			c.Read(make([]byte, 1024))
			io.WriteString(c, answer)
			c.Close()
		}
	}()
	t.Cleanup(func() { l.Close(); <-done })
	return l.Addr().String()
}

func TestRefusalsInPlainWords(t *testing.T) {
	for _, c := range []struct {
		what, answer string
		version      Version
		want         string
	}{
		{"an older broker", "\x20\x02\x00\x01", V5, "set version 3.1.1"},
		{"an older broker that hangs up", "", V5, "set version 3.1.1"},
		{"a newer broker", "\x20\x02\x00\x01", V311, "does not speak MQTT 3.1.1: set version 5"},
		{"an id that is not taken", "\x20\x02\x00\x02", V311, `does not take the client id "weald-hub"`},
		{"an id that is not taken, in 5", "\x20\x03\x00\x85\x00", V5, `does not take the client id "weald-hub"`},
		{"not ready", "\x20\x02\x00\x03", V311, "is not ready to serve"},
		{"busy", "\x20\x03\x00\x89\x00", V5, "is not ready to serve"},
		{"banned", "\x20\x03\x00\x8a\x00", V5, "has shut a client without a name out"},
		{"a reason of its own", "\x20\x03\x00\x9d\x00", V5, "reason 0x9D"},
		{"no broker at all", "HTTP/1.1 400 Bad Request\r\n\r\n", V5, ""},
		{"no broker at all, in 3.1.1", "HTTP/1.1 400 Bad Request\r\n\r\n", V311, ""},
	} {
		address := broken(t, c.answer)
		conn, err := (&Link{Broker: address, Bridge: "hub", Version: c.version}).Open(t.Context())
		if err == nil {
			conn.Close()
		}
		if err == nil || !strings.HasPrefix(err.Error(), address) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want the address and %q", c.what, err, c.want)
		}
	}
}

func TestDismissalsInPlainWords(t *testing.T) {
	l := &Link{Broker: "broker:1883", Bridge: "hub"}
	for code, want := range map[byte]string{
		0x8B: "broker:1883 is shutting down",
		0x8D: "broker:1883 has heard nothing from here for too long",
		0x8E: `another client with the id "weald-hub" took the session at broker:1883 over: no two may bear the same`,
		0x98: "broker:1883 ended the session by an administrator's order",
		0x82: "broker:1883 ended the session: reason 0x82 you erred",
	} {
		d := &paho5.Disconnect{ReasonCode: code, Properties: &paho5.DisconnectProperties{ReasonString: "you erred"}}
		if err := l.dismissed5(d); err.Error() != want {
			t.Errorf("%q, want %q", err, want)
		}
	}
}

func TestLossesInPlainWords(t *testing.T) {
	l := &Link{Broker: "broker:1883", Bridge: "hub"}
	for err, want := range map[error]string{
		io.EOF:                   "broker:1883 ended the connection",
		context.DeadlineExceeded: "broker:1883 does not answer in MQTT",
		errors.New("odd"):        "broker:1883: odd",
	} {
		if got := l.lost(err); got.Error() != want || !errors.Is(got, err) {
			t.Errorf("%q, want %q around its cause", got, want)
		}
	}
	if l.fresh.Load() {
		t.Error("gives a session up for nothing")
	}
	if l.lost(guard.ErrTooLarge); !l.fresh.Load() {
		t.Error("keeps a session whose next message is too large")
	}
}
