package topic

import (
	"context"
	"fmt"
	"net"
	"time"

	"github.com/eclipse/paho.golang/packets"
	"github.com/eclipse/paho.golang/paho"
)

// open5 brings up a session in MQTT 5.
func (t *Topic) open5(ctx context.Context, password string) (*session, error) {
	s, err := t.dial(ctx)
	if err != nil {
		return nil, err
	}
	client := paho.NewClient(paho.ClientConfig{
		ClientID: t.ClientID, Conn: packets.NewThreadSafeConn(s.conn), PacketTimeout: Patience,
		OnClientError:      s.lose,
		OnServerDisconnect: func(d *paho.Disconnect) { s.lose(fmt.Errorf("reason 0x%02X", d.ReasonCode)) },
	})
	stop := context.AfterFunc(ctx, func() { s.conn.SetDeadline(time.Now()) })
	ack, err := client.Connect(ctx, &paho.Connect{
		ClientID: t.ClientID, KeepAlive: keepAlive, CleanStart: true,
		Username: t.User, UsernameFlag: t.User != "", Password: []byte(password), PasswordFlag: password != "",
		WillMessage: &paho.WillMessage{Topic: t.retained(), Payload: []byte(Gone), QoS: 1, Retain: true},
	})
	stop()
	if err == nil {
		s.line = &line5{client, s.conn}
		return s, nil
	}
	s.conn.Close()
	code := byte(0)
	if ack != nil && ack.ReasonCode >= 0x80 {
		code = ack.ReasonCode
	}
	return nil, t.refused(ctx, code, "5", err)
}

// A line5 speaks MQTT 5.
type line5 struct {
	client *paho.Client
	conn   net.Conn
}

func (l *line5) publish(ctx context.Context, topic string, payload []byte, retain bool) error {
	answer, err := l.client.Publish(ctx, &paho.Publish{Topic: topic, QoS: 1, Retain: retain, Payload: payload})
	if answer != nil && answer.ReasonCode >= 0x80 {
		return &notTaken{answer.ReasonCode, err}
	}
	return err
}

func (l *line5) end(farewell bool) {
	if farewell {
		_ = l.client.Disconnect(&paho.Disconnect{}) // what does not arrive the last will says
	}
	l.conn.Close()
	<-l.client.Done()
}
