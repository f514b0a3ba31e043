package hospital

import (
	"context"
	"fmt"
	"net"
	"net/url"
	"os"
	"time"

	"github.com/cenkalti/backoff/v5"
	paho "github.com/eclipse/paho.mqtt.golang"

	"weald/ingest/tcp/wire"
)

// keepAlive is how often an idle client says that it is there.
const keepAlive = 30 * time.Second

// gateway is the bridge of place i as a client of the daemon's listener, until ctx
// ends: one that connects again whenever it has lost its connection.
func (h *Hospital) gateway(ctx context.Context, i int) {
	retry := backoff.ExponentialBackOff{InitialInterval: 250 * time.Millisecond, MaxInterval: 5 * time.Second, Multiplier: 2, RandomizationFactor: 0.5}
	for ctx.Err() == nil {
		if c, err := h.connect(ctx, i); err == nil {
			retry.Reset()
			_ = h.play(ctx, i, h.messages(), c) // ends with either side
			c.client.Disconnect(0)
			c.forget()
		}
		select {
		case <-time.After(retry.NextBackOff()):
		case <-ctx.Done():
		}
	}
}

// connect makes the connection of place i's bridge.
func (h *Hospital) connect(ctx context.Context, i int) (*client, error) {
	c := &client{topic: "weald/" + bridge(i) + "/frames", ended: ctx.Done(), gone: make(chan struct{}), forget: func() bool { return true }}
	c.client = paho.NewClient(paho.NewClientOptions().
		AddBroker("tcp://" + h.o.MQTT).
		SetClientID(bridge(i)).SetUsername(bridge(i)).SetPassword(h.password).
		SetProtocolVersion(4).SetCleanSession(true).
		SetAutoReconnect(false).SetConnectRetry(false).
		SetKeepAlive(keepAlive).SetPingTimeout(keepAlive).
		SetConnectTimeout(wire.Patience).SetWriteTimeout(wire.Patience).
		SetConnectionLostHandler(func(paho.Client, error) { close(c.gone) }).
		SetCustomOpenConnectionFn(func(*url.URL, paho.ClientOptions) (net.Conn, error) {
			line, err := wire.Dial(ctx, h.o.MQTT, nil)
			if err == nil {
				c.forget = context.AfterFunc(ctx, func() { line.Close() })
			}
			return line, err
		}))
	token := c.client.Connect()
	<-token.Done() // bounded by the timeouts, and by ctx, which closes the line
	if err := token.Error(); err != nil {
		c.forget()
		return nil, fmt.Errorf("bridge %s: %w", bridge(i), err)
	}
	return c, nil
}

// A client publishes, and waits until the daemon has what it published.
type client struct {
	client paho.Client
	topic  string
	ended  <-chan struct{} // closed when nobody is to publish any more
	gone   chan struct{}   // closed when the connection is lost
	forget func() bool     // lets go of the context that would close it
}

// Write publishes p as one message.
func (c *client) Write(p []byte) (int, error) {
	token := c.client.Publish(c.topic, 1, false, p)
	select {
	case <-token.Done():
		return len(p), token.Error()
	case <-c.gone:
	case <-c.ended: // the library may have nothing to say of it
	}
	return 0, net.ErrClosed
}

// SetWriteDeadline does nothing: whoever ends the context closes the connection.
func (c *client) SetWriteDeadline(time.Time) error { return os.ErrNoDeadline }
