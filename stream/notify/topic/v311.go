package topic

import (
	"context"
	"net"
	"net/url"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"
)

// open311 brings up a session in MQTT 3.1.1.
func (t *Topic) open311(ctx context.Context, password string) (*session, error) {
	s, err := t.dial(ctx)
	if err != nil {
		return nil, err
	}
	client := paho.NewClient(paho.NewClientOptions().
		AddBroker("tcp://"+t.Broker).
		SetClientID(t.ClientID).
		SetUsername(t.User).SetPassword(password).
		SetProtocolVersion(4).
		SetCleanSession(true).
		SetAutoReconnect(false).SetConnectRetry(false).
		SetKeepAlive(keepAlive*time.Second).SetPingTimeout(keepAlive*time.Second).
		SetConnectTimeout(Patience).SetWriteTimeout(Patience).
		SetBinaryWill(t.retained(), []byte(Gone), 1, true).
		SetConnectionLostHandler(func(_ paho.Client, err error) { s.lose(err) }).
		SetCustomOpenConnectionFn(func(*url.URL, paho.ClientOptions) (net.Conn, error) { return s.conn, nil }))
	stop := context.AfterFunc(ctx, func() { s.conn.Close() })
	token := client.Connect()
	<-token.Done() // bounded by the timeouts, and by ctx, which closes the connection
	stop()
	if err := token.Error(); err != nil {
		s.conn.Close()
		return nil, t.refused(ctx, code311(token), "3.1.1", err)
	}
	s.line = &line311{client, s}
	return s, nil
}

// code311 returns the code of a refusal in MQTT 5; 0 if the broker has named none.
func code311(token paho.Token) byte {
	connect, ok := token.(*paho.ConnectToken)
	if !ok {
		return 0
	}
	switch connect.ReturnCode() {
	case packets.ErrRefusedBadProtocolVersion:
		return 0x84
	case packets.ErrRefusedIDRejected:
		return 0x85
	case packets.ErrRefusedServerUnavailable:
		return 0x88
	case packets.ErrRefusedBadUsernameOrPassword, packets.ErrRefusedNotAuthorised:
		return 0x86
	}
	return 0
}

// A line311 speaks MQTT 3.1.1, in which a broker cannot say that it has not taken a
// message: one that does not want it acknowledges it or breaks the connection off.
type line311 struct {
	client paho.Client
	*session
}

func (l *line311) publish(ctx context.Context, topic string, payload []byte, retain bool) error {
	token := l.client.Publish(topic, 1, retain, payload)
	select {
	case <-token.Done():
	case <-ctx.Done():
		return ctx.Err()
	}
	if err := token.Error(); err != nil {
		// Nothing but the end of the connection makes it fail, and the library says
		// why it ended only after that.
		select {
		case <-l.gone:
		case <-ctx.Done():
		}
		return err
	}
	return nil
}

func (l *line311) end(farewell bool) {
	if farewell {
		l.client.Disconnect(uint(farewellTime.Milliseconds()))
		l.conn.Close()
		return
	}
	defer l.conn.Close()
	l.conn.SetDeadline(time.Now()) // the client library does not see it closed
	late := time.NewTimer(farewellTime)
	defer late.Stop()
	select {
	case <-l.gone: // it has ended
	case <-late.C:
	}
}
