package broker

import (
	"context"
	"io"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"go.uber.org/goleak"

	"weald/ingest/mqtt/internal/handovertest"
	"weald/ingest/mqtt/mosquitto"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const (
	soon  = handovertest.Soon
	quiet = 150 * time.Millisecond // long enough for what is wrong to happen
)

// versions are mosquitto_pub's arguments for the protocol's versions.
var versions = map[string][]string{"5": {"-V", "mqttv5"}, "3.1.1": {"-V", "mqttv311"}}

// accounts writes password files for bridges, whose passwords are their ids
// with "-secret".
func accounts(t testing.TB, bridges ...string) []Account {
	t.Helper()
	dir := t.TempDir()
	var all []Account
	for _, b := range bridges {
		a := Account{Bridge: b, PasswordFile: filepath.Join(dir, b)}
		setPassword(t, a, b+"-secret\n")
		all = append(all, a)
	}
	return all
}

func setPassword(t testing.TB, a Account, text string) {
	t.Helper()
	if err := os.WriteFile(a.PasswordFile, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

// start runs a broker until stop or the end of the test.
func start(t testing.TB, o Options) (b *Broker, stop func()) {
	t.Helper()
	if o.Address == "" {
		o.Address = "127.0.0.1:0"
	}
	b, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	return b, run(t, b)
}

func run(t testing.TB, b *Broker) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- b.Run(ctx) }()
	stopped := false
	stop = func() {
		if stopped {
			return
		}
		stopped = true
		cancel()
		select {
		case err := <-done:
			if err != nil {
				t.Errorf("the broker ended with %v", err)
			}
		case <-time.After(soon):
			t.Error("the broker runs on after its end")
		}
	}
	t.Cleanup(stop)
	for end := time.Now().Add(soon); b.Address() == ""; time.Sleep(time.Millisecond) {
		select {
		case err := <-done:
			t.Fatal(err)
		default:
		}
		if time.Now().After(end) {
			t.Fatal("the broker does not listen")
		}
	}
	return stop
}

// client is a bridge: a client that publishes.
func client(t testing.TB, b *Broker, bridge string, change func(*paho.ClientOptions)) paho.Client {
	t.Helper()
	o := paho.NewClientOptions().AddBroker("tcp://" + b.Address()).
		SetClientID("gateway").SetUsername(bridge).SetPassword(bridge + "-secret").
		SetProtocolVersion(4).SetCleanSession(false).
		SetAutoReconnect(false).SetConnectTimeout(soon).SetWriteTimeout(soon).SetKeepAlive(time.Minute)
	if change != nil {
		change(o)
	}
	c := paho.NewClient(o)
	if err := wait(c.Connect()); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Disconnect(50) })
	return c
}

func wait(token paho.Token) error {
	if !token.WaitTimeout(soon) {
		return os.ErrDeadlineExceeded
	}
	return token.Error()
}

func topic(bridge string) string { return "weald/" + bridge + "/frames" }

// try publishes with mosquitto_pub as the bridge.
func try(t *testing.T, b *Broker, bridge, text string, args ...string) (string, error) {
	t.Helper()
	args = append([]string{"-u", bridge, "-P", bridge + "-secret"}, args...)
	return mosquitto.TryPublish(t, b.Address(), topic(bridge), []byte(text), args...)
}

func open(t testing.TB, b *Broker, bridge string) io.ReadCloser {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), soon)
	defer cancel()
	c, err := b.Link(bridge).Open(ctx)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c
}

// drain reads c until it ends.
func drain(c io.Reader) (texts []string, err error) {
	p := make([]byte, 64<<10)
	for {
		n, err := c.Read(p)
		if err != nil {
			return texts, err
		}
		texts = append(texts, string(p[:n]))
	}
}

// raw connects without a word of MQTT.
func raw(t *testing.T, b *Broker) net.Conn {
	t.Helper()
	c, err := net.Dial("tcp", b.Address())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c
}

// dialer makes connections of a client that the test can cut.
func dialer(b *Broker, line *net.Conn) paho.OpenConnectionFunc {
	return func(*url.URL, paho.ClientOptions) (net.Conn, error) {
		c, err := net.Dial("tcp", b.Address())
		*line = c
		return c, err
	}
}
