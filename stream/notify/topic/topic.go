package topic

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net"
	"sync"
	"time"

	"weald/ingest/mqtt/guard"
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

// mostPacket is how many bytes a packet of the broker may have: answers are short, and
// nothing else is asked for.
const mostPacket = 64 << 10

// Words of what is retained, beside those of priorities.
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

	// Keeps is the topic below Name that is retained, and that is told Gone when the
	// daemon has gone; "" for "lamp".
	Keeps string

	// Patience is how long to wait; 0 for the package's.
	Patience time.Duration

	session *session // nil while there is none
}

// A session is one connection.
type session struct {
	line  line
	conn  net.Conn
	shown string // what the retained topic has been told; "" for nothing yet

	gone chan struct{} // closed when it has ended
	mu   sync.Mutex
	lost error // why it ended; guarded by mu
}

// A line is what one version of the protocol makes of a connection.
type line interface {
	// publish returns nil when the broker has acknowledged, and a *notTaken if it
	// acknowledged with an error. It ends with ctx.
	publish(ctx context.Context, topic string, payload []byte, retain bool) error

	// end closes the connection, after a farewell or without one, and returns when
	// nothing of it runs any more. After a farewell nobody publishes the last will.
	end(farewell bool)
}

// A notTaken is an error of a broker about one message, by the codes of MQTT 5.
type notTaken struct {
	code  byte
	cause error
}

func (n *notTaken) Error() string { return fmt.Sprintf("reason 0x%02X", n.code) }

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

func (t *Topic) retained() string { return t.Name + "/" + cmp.Or(t.Keeps, "lamp") }

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
func (t *Topic) Show(ctx context.Context, p alert.Priority, alive bool) (did bool, err error) {
	switch {
	case !alive:
		return t.Keep(ctx, Gone)
	case p > 0:
		return t.Keep(ctx, p.String())
	}
	return t.Keep(ctx, Off)
}

// Keep makes sure that a word is what is retained, and says whether it had to do
// anything for that.
func (t *Topic) Keep(ctx context.Context, word string) (did bool, err error) {
	if t.session != nil && t.session.why() == nil && t.session.shown == word {
		return false, nil
	}
	ctx, cancel := t.limit(ctx)
	defer cancel()
	if err := t.connect(ctx); err != nil {
		return false, err
	}
	if err := t.publish(ctx, t.retained(), []byte(word), true); err != nil {
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
	_ = t.publish(ctx, t.retained(), []byte(Gone), true) // what does not arrive the last will says
	t.hangUp(nil)
}

// Try connects to the broker, with TLS where it is asked for, and says nothing: an
// introduction would push out a client of the same name.
func (t *Topic) Try(ctx context.Context) error {
	if _, err := t.Password.Read(); err != nil {
		return err
	}
	c, err := wire.Dial(ctx, t.Broker, t.TLS)
	if err != nil {
		return err
	}
	return c.Close()
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
	s, err := t.open5(ctx, password)
	if older, ok := errors.AsType[*notSpoken](err); ok {
		if s, err = t.open311(ctx, password); errors.As(err, &older) {
			err = older.cause
		}
	}
	if err != nil {
		return err
	}
	t.session = s
	return nil
}

// A notSpoken is an error of a broker that may know another version of the protocol.
type notSpoken struct{ cause error }

func (n *notSpoken) Error() string { return n.cause.Error() }

// dial makes what a version of the protocol then speaks over.
func (t *Topic) dial(ctx context.Context) (*session, error) {
	conn, err := wire.Dial(ctx, t.Broker, t.TLS)
	if err != nil {
		return nil, err
	}
	return &session{conn: guard.New(conn, mostPacket), gone: make(chan struct{})}, nil
}

// refused says why a broker lets nobody in, by the reason codes of MQTT 5; 0 for a
// broker that said nothing that is understood.
func (t *Topic) refused(ctx context.Context, code byte, version string, err error) error {
	switch {
	case errors.Is(err, guard.ErrTooLarge):
		return wire.Plain(err, "%s sends more than an answer has", t.Broker)
	case code == 0 && ctx.Err() != nil:
		return wire.Plain(err, "%s has not answered in time", t.Broker)
	case code == 0:
		return &notSpoken{wire.Plain(err, "%s ended the connection when MQTT %s was proposed", t.Broker, version)}
	}
	switch code {
	case 0x84:
		return &notSpoken{wire.Plain(err, "%s does not speak MQTT %s", t.Broker, version)}
	case 0x85:
		return wire.Plain(err, "%s does not take the client id %q", t.Broker, t.ClientID)
	case 0x86, 0x87, 0x8C:
		return wire.Plain(err, "%s does not take the account %q", t.Broker, t.User)
	case 0x88:
		return wire.Plain(err, "%s is not ready to serve", t.Broker)
	case 0x8A:
		return wire.Plain(err, "%s has banned this client", t.Broker)
	case 0x93, 0x97, 0x9F:
		return wire.Plain(err, "%s is full", t.Broker)
	}
	return wire.Plain(err, "%s refuses: reason 0x%02X", t.Broker, code)
}

// publish returns nil when the broker has acknowledged.
func (t *Topic) publish(ctx context.Context, topic string, payload []byte, retain bool) error {
	// The client libraries would wait for an acknowledgement that cannot come.
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
	err := t.session.line.publish(waits, topic, payload, retain)
	if err == nil {
		return nil
	}
	if refusal, ok := errors.AsType[*notTaken](err); ok {
		why := refusal.Error()
		switch refusal.code {
		case 0x87:
			why = fmt.Sprintf("user %q may not publish to %s", t.User, topic)
		case 0x97:
			why = "a quota is used up"
		}
		return wire.Plain(refusal.cause, "%s has not taken it: %s", t.Broker, why)
	}
	lost := t.session.why()
	t.hangUp(err)
	switch {
	case errors.Is(lost, guard.ErrTooLarge):
		return wire.Plain(lost, "%s sends more than an answer has", t.Broker)
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
	s.conn.SetDeadline(time.Now().Add(farewellTime))
	s.line.end(err == nil && s.why() == nil)
}

// farewellTime is how long the end of a session may take.
const farewellTime = time.Second
