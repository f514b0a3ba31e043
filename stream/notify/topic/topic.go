package topic

import (
	"context"
	"errors"
	"fmt"
	"net"
	"sync"
	"time"

	"github.com/eclipse/paho.golang/packets"
	"github.com/eclipse/paho.golang/paho"

	"weald/ingest/tcp/wire"
	"weald/rules/alert"
	"weald/stream/notify"
	"weald/stream/notify/secret"
)

// Patience is how long a broker may take for one answer.
const Patience = 10 * time.Second

// keepAlive is how often an idle connection is probed. A broker publishes the last
// will when it has heard nothing for one and a half times that.
const keepAlive = 15

// Words of NAME/lamp beside those of priorities.
const (
	Off  = "off"
	Gone = "gone"
)

// A Topic is a place at a broker. One goroutine at a time may use it.
type Topic struct {
	Broker   string // host:port
	Name     string
	ClientID string
	User     string // "" for none
	Password secret.Source
	TLS      *wire.ClientTLS // nil for no TLS

	// Patience is how long to wait; 0 for the package's.
	Patience time.Duration

	session *session // nil while there is none
}

// A session is one connection.
type session struct {
	client *paho.Client
	conn   net.Conn
	shown  string // what NAME/lamp has been told; "" for nothing yet

	gone chan struct{} // closed when it has ended
	mu   sync.Mutex
	lost error // why it ended; guarded by mu
}

func (s *session) lose(err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.lost == nil {
		s.lost = err
		close(s.gone)
	}
}

func (s *session) why() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.lost
}

// Reaches implements outbox.Sender.
func (t *Topic) Reaches() string { return "topic " + t.Name + " at " + t.Broker }

// Send implements outbox.Sender.
func (t *Topic) Send(ctx context.Context, s *notify.Sending) error {
	ctx, cancel := t.limit(ctx)
	defer cancel()
	if err := t.connect(ctx); err != nil {
		return err
	}
	return t.publish(ctx, t.Name+"/events", s.JSON(), false)
}

// Show implements outbox.Shower.
func (t *Topic) Show(ctx context.Context, p alert.Priority) (did bool, err error) {
	word := Off
	if p > 0 {
		word = p.String()
	}
	if t.session != nil && t.session.why() == nil && t.session.shown == word {
		return false, nil
	}
	ctx, cancel := t.limit(ctx)
	defer cancel()
	if err := t.connect(ctx); err != nil {
		return false, err
	}
	if err := t.publish(ctx, t.Name+"/lamp", []byte(word), true); err != nil {
		return false, err
	}
	t.session.shown = word
	return true, nil
}

// Close says that the daemon goes.
func (t *Topic) Close() {
	if t.session == nil {
		return
	}
	ctx, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	_ = t.publish(ctx, t.Name+"/lamp", []byte(Gone), true) // what does not arrive the last will says
	t.hangUp(nil)
}

func (t *Topic) limit(ctx context.Context) (context.Context, context.CancelFunc) {
	if t.Patience == 0 {
		return context.WithTimeout(ctx, Patience)
	}
	return context.WithTimeout(ctx, t.Patience)
}

// connect makes a session unless there is one.
func (t *Topic) connect(ctx context.Context) error {
	if t.session != nil {
		if err := t.session.why(); err == nil {
			return nil
		}
		t.hangUp(errors.New("lost"))
	}
	password, err := t.Password.Read()
	if err != nil {
		return err
	}
	conn, err := wire.Dial(ctx, t.Broker, t.TLS)
	if err != nil {
		return err
	}
	s := &session{conn: conn, gone: make(chan struct{})}
	s.client = paho.NewClient(paho.ClientConfig{
		ClientID: t.ClientID, Conn: packets.NewThreadSafeConn(conn), PacketTimeout: Patience,
		OnClientError:      s.lose,
		OnServerDisconnect: func(d *paho.Disconnect) { s.lose(fmt.Errorf("reason 0x%02X", d.ReasonCode)) },
	})
	stop := context.AfterFunc(ctx, func() { conn.SetDeadline(time.Now()) })
	ack, err := s.client.Connect(ctx, &paho.Connect{
		ClientID: t.ClientID, KeepAlive: keepAlive, CleanStart: true,
		Username: t.User, UsernameFlag: t.User != "", Password: []byte(password), PasswordFlag: password != "",
		WillMessage: &paho.WillMessage{Topic: t.Name + "/lamp", Payload: []byte(Gone), QoS: 1, Retain: true},
	})
	stop()
	if err == nil && ack.ReasonCode >= 0x80 {
		err = fmt.Errorf("reason 0x%02X", ack.ReasonCode)
	}
	if err != nil {
		conn.Close()
		return t.refused(ctx, ack, err)
	}
	t.session = s
	return nil
}

// refused says why a broker lets nobody in.
func (t *Topic) refused(ctx context.Context, ack *paho.Connack, err error) error {
	if ack != nil {
		switch ack.ReasonCode {
		case 0x84:
			return wire.Plain(err, "%s does not speak MQTT 5", t.Broker)
		case 0x86, 0x87, 0x8C:
			return wire.Plain(err, "%s does not take the account %q", t.Broker, t.User)
		case 0x8A:
			return wire.Plain(err, "%s has banned this client", t.Broker)
		case 0x93, 0x97, 0x9F:
			return wire.Plain(err, "%s is full", t.Broker)
		}
		if ack.ReasonCode >= 0x80 {
			return wire.Plain(err, "%s refuses: reason 0x%02X", t.Broker, ack.ReasonCode)
		}
	}
	if ctx.Err() != nil {
		return wire.Plain(err, "%s has not answered in time", t.Broker)
	}
	return wire.Plain(err, "%s ended the connection when MQTT 5 was proposed", t.Broker)
}

// publish returns nil when the broker has acknowledged.
func (t *Topic) publish(ctx context.Context, topic string, payload []byte, retain bool) error {
	// The client library would wait for an acknowledgement that cannot come.
	waits, cancel := context.WithCancel(ctx)
	defer cancel()
	gone := t.session.gone
	go func() {
		select {
		case <-gone:
			cancel()
		case <-waits.Done():
		}
	}()
	answer, err := t.session.client.Publish(waits, &paho.Publish{Topic: topic, QoS: 1, Retain: retain, Payload: payload})
	if answer != nil && answer.ReasonCode >= 0x80 {
		why := fmt.Sprintf("reason 0x%02X", answer.ReasonCode)
		switch answer.ReasonCode {
		case 0x87:
			why = fmt.Sprintf("user %q may not publish to %s", t.User, topic)
		case 0x97:
			why = "a quota is used up"
		}
		return wire.Plain(err, "%s has not taken it: %s", t.Broker, why)
	}
	if err == nil {
		return nil
	}
	lost := t.session.why()
	t.hangUp(err)
	switch {
	case lost != nil:
		return wire.Plain(lost, "%s ended the connection before it had taken it", t.Broker)
	case ctx.Err() != nil:
		return wire.Plain(err, "%s has not acknowledged in time", t.Broker)
	}
	return wire.Plain(err, "%s has not taken it", t.Broker)
}

// hangUp ends the session, with a farewell if nothing is wrong.
func (t *Topic) hangUp(err error) {
	s := t.session
	t.session = nil
	s.conn.SetDeadline(time.Now().Add(time.Second))
	if err == nil && s.why() == nil {
		_ = s.client.Disconnect(&paho.Disconnect{}) // after it nobody publishes the last will
	}
	s.conn.Close()
	<-s.client.Done()
}
