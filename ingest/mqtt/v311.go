package mqtt

import (
	"context"
	"net"
	"net/url"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"weald/ingest/tcp/wire"
)

// quiesce is how long the end of a session may take, in ms.
const quiesce = 2000

// connect311 brings up a session in MQTT 3.1.1.
func (s *session) connect311(ctx context.Context, password string) error {
	l := s.link
	var undialled error // set before the token is done, as is unwatch
	unwatch := func() bool { return true }
	o := paho.NewClientOptions().
		AddBroker("tcp://" + l.Broker).
		SetClientID(l.clientID()).
		SetUsername(l.User).SetPassword(password).
		SetProtocolVersion(4).
		SetCleanSession(l.fresh.Load()).
		SetOrderMatters(true).
		SetAutoAckDisabled(true).
		SetAutoReconnect(false).SetConnectRetry(false).
		SetKeepAlive(keepAlive).SetPingTimeout(keepAlive).
		SetConnectTimeout(wire.Patience).SetWriteTimeout(wire.Patience).
		SetDefaultPublishHandler(s.receive311).
		SetConnectionLostHandler(func(_ paho.Client, err error) { s.leave(l.lost(err)) }).
		SetCustomOpenConnectionFn(func(*url.URL, paho.ClientOptions) (net.Conn, error) {
			var line net.Conn
			if line, undialled = s.dial(ctx); undialled == nil {
				unwatch = context.AfterFunc(ctx, func() { line.Close() })
			}
			return line, undialled
		})
	c := paho.NewClient(o)
	t := c.Connect()
	<-t.Done() // bounded by the timeouts, and by ctx, which closes the line
	defer unwatch()
	if err := t.Error(); err != nil {
		if undialled != nil {
			return undialled
		}
		code := byte(0)
		if ct, ok := t.(*paho.ConnectToken); ok {
			code = ct.ReturnCode()
		}
		return l.refused311(err, code)
	}
	var subscribed sync.WaitGroup
	s.hangUp = func() error {
		subscribed.Wait()
		c.Disconnect(quiesce)
		return nil
	}
	subscribed.Go(func() {
		t := c.Subscribe(s.topic, 1, nil)
		late := time.NewTimer(subscribePatience)
		defer late.Stop()
		select {
		case <-t.Done():
			if st, ok := t.(*paho.SubscribeToken); ok && st.Result()[s.topic] >= 0x80 {
				s.leave(l.denied(t.Error(), s.topic))
			} else if err := t.Error(); err != nil {
				s.leaveUnless(l.lost(err))
			} else {
				close(s.granted)
			}
		case <-late.C:
			s.leave(l.lost(context.DeadlineExceeded))
		case <-s.left:
		case <-s.conn.Closed():
		}
	})
	return nil
}

// receive311 is called for one message after the other.
func (s *session) receive311(_ paho.Client, m paho.Message) {
	s.receive(delivery{topic: m.Topic(), payload: m.Payload(), retained: m.Retained(), dup: m.Duplicate(), ack: m.Ack})
}
