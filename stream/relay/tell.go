package relay

import (
	"strings"

	"github.com/nats-io/nats.go"
)

// Tell says how a bridge is to whoever listens now. Nothing of it is kept.
func Tell(conn *nats.Conn, o Options, bridge string, body []byte) error {
	return conn.Publish(o.told()+bridge, body)
}

// Hear gives what is told to f, on a goroutine of its own, until stop is called.
func Hear(conn *nats.Conn, o Options, f func(bridge string, body []byte)) (stop func(), err error) {
	sub, err := conn.Subscribe(o.told()+"*", func(m *nats.Msg) { f(strings.TrimPrefix(m.Subject, o.told()), m.Data) })
	if err != nil {
		return nil, err
	}
	return func() { _ = sub.Unsubscribe() }, nil
}

func (o *Options) told() string { return "weald." + o.Name + ".bridges." }
