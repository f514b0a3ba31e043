package mqtt

import (
	"context"
	"errors"
	"fmt"
	"io"

	paho5 "github.com/eclipse/paho.golang/paho"
	paho311 "github.com/eclipse/paho.mqtt.golang/packets"

	"weald/ingest/mqtt/guard"
	"weald/ingest/tcp/wire"
)

// who names this client as the broker knows it.
func (l *Link) who() string {
	if l.User != "" {
		return "user " + l.User
	}
	return "a client without a name"
}

// lost explains why the connection to the broker ended. A packet that is too
// large would be sent again in the same session, so that one is given up with
// what else the broker has kept in it.
func (l *Link) lost(err error) error {
	switch {
	case errors.Is(err, guard.ErrTooLarge):
		l.fresh.Store(true)
		return wire.Plain(err, "%s sent a message of more than %d bytes: what it had kept is given up", l.Broker, maxPacket)
	case errors.Is(err, context.DeadlineExceeded):
		return wire.Plain(err, "%s does not answer in MQTT", l.Broker)
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		return wire.Plain(err, "%s ended the connection", l.Broker)
	}
	return wire.Lost(l.Broker, err)
}

// refusal explains why the broker let nobody in, by the reason codes of MQTT 5.
func (l *Link) refusal(err error, code byte, reason string) error {
	switch code {
	case 0x84, 0x01:
		return wire.Plain(err, "%s does not speak MQTT 5: set version 3.1.1", l.Broker)
	case 0x85:
		return wire.Plain(err, "%s does not take the client id %q", l.Broker, l.clientID())
	case 0x86, 0x87:
		return wire.Plain(err, "%s refused %s: are user and password right?", l.Broker, l.who())
	case 0x88, 0x89:
		return wire.Plain(err, "%s is not ready to serve", l.Broker)
	case 0x8A:
		return wire.Plain(err, "%s has shut %s out", l.Broker, l.who())
	case 0x97, 0x9F:
		return wire.Plain(err, "%s has too many clients at present", l.Broker)
	}
	return wire.Plain(err, "%s refused the connection: reason 0x%02X %s", l.Broker, code, reason)
}

// refused311 is refusal by the codes of MQTT 3.1.1.
func (l *Link) refused311(err error, code byte) error {
	switch code {
	case paho311.ErrRefusedBadProtocolVersion:
		return wire.Plain(err, "%s does not speak MQTT 3.1.1: set version 5", l.Broker)
	case paho311.ErrRefusedIDRejected:
		return l.refusal(err, 0x85, "")
	case paho311.ErrRefusedServerUnavailable:
		return l.refusal(err, 0x88, "")
	case paho311.ErrRefusedBadUsernameOrPassword, paho311.ErrRefusedNotAuthorised:
		return l.refusal(err, 0x86, "")
	}
	return l.lost(err)
}

// denied explains why there is no subscription.
func (l *Link) denied(err error, topic string) error {
	return wire.Plain(err, "%s does not let %s read %s", l.Broker, l.who(), topic)
}

// dismissed5 explains why the broker ended a session.
func (l *Link) dismissed5(d *paho5.Disconnect) error {
	switch d.ReasonCode {
	case 0x8B:
		return fmt.Errorf("%s is shutting down", l.Broker)
	case 0x8D:
		return fmt.Errorf("%s has heard nothing from here for too long", l.Broker)
	case 0x8E:
		return fmt.Errorf("another client with the id %q took the session at %s over: no two may bear the same", l.clientID(), l.Broker)
	case 0x98:
		return fmt.Errorf("%s ended the session by an administrator's order", l.Broker)
	}
	reason := ""
	if d.Properties != nil {
		reason = " " + d.Properties.ReasonString
	}
	return fmt.Errorf("%s ended the session: reason 0x%02X%s", l.Broker, d.ReasonCode, reason)
}
