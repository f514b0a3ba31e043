package mqtt

import (
	"errors"
	"io"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"go.uber.org/goleak"

	"weald/ingest/mqtt/internal/handovertest"
	"weald/ingest/mqtt/mosquitto"
	"weald/ingest/tcp/wire/wiretest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const (
	soon  = handovertest.Soon
	quiet = 150 * time.Millisecond // long enough for what is wrong to happen
)

// eachVersion runs f with both versions of the protocol, each with a broker of
// its own: the two would share a session.
func eachVersion(t *testing.T, o mosquitto.Options, f func(*testing.T, *mosquitto.Broker, Version)) {
	t.Run("5", func(t *testing.T) { f(t, mosquitto.Start(t, o), V5) })
	t.Run("3.1.1", func(t *testing.T) { f(t, mosquitto.Start(t, o), V311) })
}

func open(t *testing.T, l *Link) io.ReadCloser {
	t.Helper()
	c, err := l.Open(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c
}

// again checks whether what was read last is said to have come before.
func again(t *testing.T, c io.Reader, want bool) {
	t.Helper()
	if m, ok := c.(interface{ Again() bool }); !ok || m.Again() != want {
		t.Errorf("that it may have come before is not told as %t", want)
	}
}

// wantNone lets the message before be acknowledged and sees to it that no other
// one comes. It ends the connection.
func wantNone(t *testing.T, c io.ReadCloser) {
	t.Helper()
	got := handovertest.Begin(c)
	select {
	case r := <-got:
		t.Errorf("read %q, %v, want nothing", r.Text, r.Err)
	case <-time.After(quiet):
	}
	c.Close()
	<-got
}

func publish(t *testing.T, address, bridge, text string, args ...string) {
	t.Helper()
	mosquitto.Publish(t, address, "weald/"+bridge+"/frames", []byte(text), args...)
}

var floodFrame = strings.Repeat("x", 60<<10)

// flood publishes as fast as the broker takes it, until stop.
func flood(t *testing.T, address, bridge string) (stop func()) {
	t.Helper()
	p := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + address).SetClientID("flood").SetProtocolVersion(4))
	if token := p.Connect(); !token.WaitTimeout(soon) || token.Error() != nil {
		t.Fatal(token.Error())
	}
	quit := make(chan struct{})
	var done sync.WaitGroup
	done.Go(func() {
		for {
			select {
			case <-quit:
				return
			default:
				p.Publish("weald/"+bridge+"/frames", 0, false, floodFrame).WaitTimeout(soon)
			}
		}
	})
	return func() { close(quit); done.Wait(); p.Disconnect(100) }
}

// A relay stands between a client and a broker, and can be cut.
type relay struct {
	address string
	l       net.Listener
	to      string
	wg      sync.WaitGroup

	mu    sync.Mutex
	conns []net.Conn // guarded by mu
}

func newRelay(t *testing.T, to string) *relay {
	t.Helper()
	l := wiretest.Listen(t)
	r := &relay{address: l.Addr().String(), l: l, to: to}
	r.wg.Go(r.serve)
	t.Cleanup(func() { l.Close(); r.cut(); r.wg.Wait() })
	return r
}

func (r *relay) serve() {
	for {
		near, err := r.l.Accept()
		if errors.Is(err, net.ErrClosed) {
			return
		}
		far, err := net.Dial("tcp", r.to)
		if err != nil {
			near.Close()
			continue
		}
		r.mu.Lock()
		r.conns = append(r.conns, near, far)
		r.mu.Unlock()
		r.wg.Go(func() { io.Copy(near, far); near.Close() })
		r.wg.Go(func() { io.Copy(far, near); far.Close() })
	}
}

// cut breaks every connection off, as a client's death does.
func (r *relay) cut() {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, c := range r.conns {
		c.Close()
	}
	r.conns = nil
}
