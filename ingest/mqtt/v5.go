package mqtt

import (
	"context"
	"errors"
	"io"
	"net"
	"net/url"
	"sync"
	"time"

	"github.com/eclipse/paho.golang/autopaho"
	"github.com/eclipse/paho.golang/packets"
	"github.com/eclipse/paho.golang/paho"

	"weald/ingest/tcp/wire"
)

// ackEvery is how often acknowledgements leave, in the order of the messages. A
// broker that sends no more than 20 ahead is thus good for 1,000 a second.
const ackEvery = 20 * time.Millisecond

// connect5 brings up a session in MQTT 5.
func (s *session) connect5(ctx context.Context, password string) error {
	// The manager's life is the session's, not that of Open.
	life, end := context.WithCancel(context.Background())
	var undialled, failure error // of the one attempt; set before the manager is done
	m, err := autopaho.NewConnection(life, autopaho.ClientConfig{
		ServerUrls:                    []*url.URL{{Scheme: "mqtt", Host: s.link.Broker}},
		KeepAlive:                     uint16(keepAlive / time.Second),
		CleanStartOnInitialConnection: s.link.fresh.Load(),
		SessionExpiryInterval:         s.link.expirySeconds(),
		ConnectTimeout:                wire.Patience,
		ConnectUsername:               s.link.User,
		ConnectPassword:               []byte(password),
		AttemptConnection: func(context.Context, autopaho.ClientConfig, *url.URL) (net.Conn, error) {
			var c net.Conn
			if c, undialled = s.dial(ctx); undialled != nil {
				return nil, undialled
			}
			return packets.NewThreadSafeConn(c), nil
		},
		ConnectPacketBuilder: func(p *paho.Connect, _ *url.URL) (*paho.Connect, error) {
			inFlight, size := uint16(mostInFlight), uint32(maxPacket)
			p.Properties.ReceiveMaximum, p.Properties.MaximumPacketSize = &inFlight, &size
			return p, nil
		},
		OnConnectError:   func(err error) { failure = err; end() },
		OnConnectionDown: func() bool { return false },
		ClientConfig: paho.ClientConfig{
			ClientID:                   s.link.clientID(),
			PacketTimeout:              subscribePatience,
			EnableManualAcknowledgment: true,
			SendAcksInterval:           ackEvery,
			OnPublishReceived:          []func(paho.PublishReceived) (bool, error){s.receive5},
			OnClientError:              func(err error) { s.leave(s.link.lost(err)) },
			OnServerDisconnect:         func(d *paho.Disconnect) { s.leave(s.link.dismissed5(d)) },
		},
	})
	if err != nil {
		end()
		return err
	}
	subscribing, cancel := context.WithCancel(life)
	var subscribed sync.WaitGroup
	s.hangUp = func() error {
		defer end()
		cancel()
		subscribed.Wait()
		bounded, cancel := context.WithTimeout(context.Background(), wire.Patience)
		defer cancel()
		return m.Disconnect(bounded)
	}
	if err := m.AwaitConnection(ctx); err != nil {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		<-m.Done()
		if undialled != nil {
			return undialled
		}
		return s.link.refused5(failure)
	}
	subscribed.Go(func() {
		ack, err := m.Subscribe(subscribing, &paho.Subscribe{Subscriptions: []paho.SubscribeOptions{{Topic: s.topic, QoS: 1}}})
		if ack != nil && len(ack.Reasons) == 1 && ack.Reasons[0] >= 0x80 {
			s.leave(s.link.denied(err, s.topic))
		} else if err != nil {
			s.leaveUnless(s.link.lost(err))
		} else {
			close(s.granted)
		}
	})
	return nil
}

// receive5 is called for one message after the other.
func (s *session) receive5(r paho.PublishReceived) (bool, error) {
	p := r.Packet
	s.receive(delivery{
		topic: p.Topic, payload: p.Payload, retained: p.Retain, dup: p.Duplicate(),
		// That it cannot be acknowledged means that the connection is gone,
		// and then the message comes again.
		ack: func() { _ = r.Client.Ack(p) },
	})
	return true, nil
}

func (l *Link) expirySeconds() uint32 {
	d := l.Expiry
	if d <= 0 {
		d = DefaultExpiry
	}
	return uint32(min(d/time.Second, 0xFFFF_FFFE))
}

// refused5 explains why there is no session.
func (l *Link) refused5(err error) error {
	if refusal, ok := errors.AsType[*autopaho.ConnackError](err); ok {
		return l.refusal(err, refusal.ReasonCode, refusal.Reason)
	}
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return wire.Plain(err, "%s ended the connection when MQTT 5 was proposed: if it is an older broker, set version 3.1.1", l.Broker)
	}
	return l.lost(err)
}
