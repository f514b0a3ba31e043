package topic

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"strings"
	"testing"
	"time"

	"github.com/eclipse/paho.golang/packets"
	"github.com/eclipse/paho.golang/paho"
	packets311 "github.com/eclipse/paho.mqtt.golang/packets"
	"go.uber.org/goleak"

	"weald/ingest/mqtt/mosquitto"
	"weald/ingest/tcp/wire"
	"weald/ingest/tcp/wire/wiretest"
	"weald/rules/alert"
	"weald/stream/notify"
	"weald/stream/notify/notifytest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const (
	planted = "p1anted-password-of-a-lamp"
	soon    = 10 * time.Second
)

type heard struct {
	topic, payload string
	retained       bool
}

// listen subscribes to everything below weald/lamp.
func listen(t *testing.T, address string) <-chan heard {
	t.Helper()
	conn, err := net.Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	got := make(chan heard, 100)
	id := fmt.Sprintf("listener-%s", conn.LocalAddr())
	c := paho.NewClient(paho.ClientConfig{ClientID: id, Conn: packets.NewThreadSafeConn(conn), OnPublishReceived: []func(paho.PublishReceived) (bool, error){
		func(p paho.PublishReceived) (bool, error) {
			got <- heard{p.Packet.Topic, string(p.Packet.Payload), p.Packet.Retain}
			return true, nil
		}}})
	if _, err := c.Connect(t.Context(), &paho.Connect{ClientID: id, KeepAlive: 60, CleanStart: true}); err != nil {
		t.Fatal(err)
	}
	if _, err := c.Subscribe(t.Context(), &paho.Subscribe{Subscriptions: []paho.SubscribeOptions{{Topic: "weald/lamp/#", QoS: 1}}}); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Disconnect(&paho.Disconnect{}); <-c.Done() })
	return got
}

func next(t *testing.T, got <-chan heard) heard {
	t.Helper()
	select {
	case h := <-got:
		return h
	case <-time.After(soon):
		t.Fatal("nothing was published")
		panic("unreached")
	}
}

// A lamp at Debian's mosquitto shows what calls, and that the daemon is gone, with
// or without a farewell; who comes later is told how things stand. So it is where the
// broker knows only MQTT 3.1.1, and says so or breaks the connection off.
func TestLampAtABroker(t *testing.T) {
	t.Run("MQTT 5", func(t *testing.T) {
		b := mosquitto.Start(t, mosquitto.Options{})
		lamp(t, b, b.Address, "refuses connections")
	})
	for name, answer := range map[string]string{"MQTT 3.1.1, which it says": "\x20\x02\x00\x01", "MQTT 3.1.1 or nothing": ""} {
		t.Run(name, func(t *testing.T) {
			b := mosquitto.Start(t, mosquitto.Options{})
			lamp(t, b, older(t, b.Address, answer), "ended the connection when MQTT 3.1.1 was proposed")
		})
	}
}

// older returns the address of a broker that knows only version 4 of the protocol,
// which is MQTT 3.1.1: it is a given one, before which another version is answered
// (section 3.1.2.2 of the standard: with CONNACK and the code 1) and cut off.
func older(t *testing.T, broker, answer string) string {
	return notifytest.Serve(t, func(near net.Conn) {
		defer near.Close()
		in := bufio.NewReader(near)
		begin, err := in.Peek(12) // type, one or two bytes of length, "MQTT" behind its length, version
		if err != nil {
			return
		}
		if at := bytes.Index(begin, []byte("\x00\x04MQTT")); at < 0 || begin[at+6] != 4 {
			io.WriteString(near, answer)
			return
		}
		far, err := net.Dial("tcp", broker)
		if err != nil {
			return
		}
		defer far.Close()
		go func() { io.Copy(near, far); near.Close() }()
		io.Copy(far, in)
	})
}

// lamp has a lamp at b, to which address leads; says is what is said once it is gone.
func lamp(t *testing.T, b *mosquitto.Broker, address, says string) {
	top := &Topic{Broker: address, Name: "weald/lamp", ClientID: "weald-send-lamp"}
	got := listen(t, b.Address)
	show := func(p alert.Priority, did bool, word string) {
		t.Helper()
		if d, err := top.Show(t.Context(), p, true); err != nil || d != did {
			t.Fatalf("%v, %v", d, err)
		}
		if did {
			if h := next(t, got); h.topic != "weald/lamp/lamp" || h.payload != word {
				t.Fatalf("%+v, want %s", h, word)
			}
		}
	}
	show(0, true, "off")
	show(alert.High, true, "high")
	show(alert.High, false, "")
	if err := top.Send(t.Context(), notifytest.Call()); err != nil {
		t.Fatal(err)
	}
	h := next(t, got)
	var body notify.Body
	if err := json.Unmarshal([]byte(h.payload), &body); err != nil || h.topic != "weald/lamp/events" || body.Key != notifytest.Call().Key {
		t.Errorf("%+v: %v", h, err)
	}
	if h := next(t, listen(t, b.Address)); !h.retained || h.payload != "high" {
		t.Errorf("who comes later hears %+v", h)
	}
	top.session.conn.SetDeadline(time.Now()) // it is broken off, as when the process is killed
	if h := next(t, got); h.payload != Gone {
		t.Errorf("%+v, want the last will", h)
	}
	for end := time.Now().Add(soon); top.session.why() == nil && time.Now().Before(end); {
		time.Sleep(time.Millisecond)
	}
	show(alert.High, true, "high") // it comes back by itself
	b.Stop()
	for end := time.Now().Add(soon); top.session.why() == nil && time.Now().Before(end); {
		time.Sleep(time.Millisecond)
	}
	if _, err := top.Show(t.Context(), alert.High, true); err == nil || !strings.Contains(err.Error(), says) {
		t.Errorf("the broker is gone: %v", err)
	}
	b.Run()
	got = listen(t, b.Address)
	if _, err := top.Show(t.Context(), alert.Low, true); err != nil {
		t.Fatal(err)
	}
	for h := next(t, got); h.payload != "low"; h = next(t, got) { // after what the broker had kept
	}
	top.Close()
	if h := next(t, got); h.payload != Gone {
		t.Errorf("%+v, want a farewell", h)
	}
}

// A broker can fail in every way.
func TestBrokersThatFail(t *testing.T) {
	ca := wiretest.NewCA(t)
	certificate, key := ca.Leaf("mail.larch")
	floods := func(c net.Conn) {
		c.Write([]byte{0x30, 0xff, 0xff, 0xff, 0x7f}) // a message of 256 MB
		for err := error(nil); err == nil; {
			_, err = c.Write(make([]byte, 1<<16))
		}
	}
	answers := func(connack, puback byte) func(net.Conn) {
		return func(c net.Conn) {
			defer c.Close()
			for {
				p, err := packets.ReadPacket(c)
				if err != nil {
					return
				}
				var out *packets.ControlPacket
				switch in := p.Content.(type) {
				case *packets.Connect:
					out = packets.NewControlPacket(packets.CONNACK)
					out.Content.(*packets.Connack).ReasonCode = connack
				case *packets.Publish:
					switch puback {
					case 1:
						continue // accepts and never says so
					case 2:
						return
					case 3:
						floods(c)
						return
					}
					out = packets.NewControlPacket(packets.PUBACK)
					ack := out.Content.(*packets.Puback)
					ack.PacketID, ack.ReasonCode = in.PacketID, puback
				default:
					continue
				}
				if _, err := out.WriteTo(c); err != nil {
					return
				}
			}
		}
	}
	// older311 is a broker that speaks only MQTT 3.1.1, and answers with a CONNACK and,
	// unless told otherwise, nothing.
	older311 := func(connack byte, hangsUp bool) func(net.Conn) {
		return func(c net.Conn) {
			defer c.Close()
			for {
				p, err := packets311.ReadPacket(c)
				if err != nil {
					return
				}
				switch in := p.(type) {
				case *packets311.ConnectPacket:
					out := packets311.NewControlPacket(packets311.Connack).(*packets311.ConnackPacket)
					if out.ReturnCode = connack; in.ProtocolVersion != 4 {
						out.ReturnCode = packets311.ErrRefusedBadProtocolVersion
					}
					if out.Write(c) != nil || out.ReturnCode != 0 {
						return
					}
				case *packets311.PublishPacket:
					if hangsUp {
						return
					}
				}
			}
		}
	}
	done := make(chan struct{})
	defer close(done)
	guarded := mosquitto.Start(t, mosquitto.Options{Passwords: map[string]string{"weald": "another"}})
	secured := mosquitto.Start(t, mosquitto.Options{Certificate: certificate, Key: key})
	for _, c := range []struct {
		name, broker, says string
		tls                bool
	}{
		{name: "gone", broker: wiretest.Vacant(t), says: "refuses connections"},
		{name: "hangs", broker: notifytest.Serve(t, func(net.Conn) { <-done }), says: "has not answered in time"},
		{name: "hangs up", broker: notifytest.Serve(t, func(c net.Conn) { c.Close() }), says: "ended the connection"},
		{name: "no MQTT", broker: notifytest.Serve(t, func(c net.Conn) { c.Write([]byte("HTTP/1.1 400\r\n\r\n")); c.Close() }), says: "ended the connection"},
		{name: "wrong password", broker: guarded.Address, says: `does not take the account "weald"`},
		{name: "wrong certificate", broker: secured.Address, says: "is not for", tls: true},
		{name: "no TLS", broker: guarded.Address, says: "TLS", tls: true},
		{name: "full at connect", broker: notifytest.Serve(t, answers(0x97, 0)), says: "is full"},
		{name: "full", broker: notifytest.Serve(t, answers(0, 0x97)), says: "a quota is used up"},
		{name: "may not publish", broker: notifytest.Serve(t, answers(0, 0x87)), says: "may not publish"},
		{name: "never acknowledges", broker: notifytest.Serve(t, answers(0, 1)), says: "has not acknowledged in time"},
		{name: "drops instead of acknowledging", broker: notifytest.Serve(t, answers(0, 2)), says: "before it had taken it"},
		{name: "a flood at connect", broker: notifytest.Serve(t, floods), says: "sends more than an answer has"},
		{name: "a flood instead of acknowledging", broker: notifytest.Serve(t, answers(0, 3)), says: "sends more than an answer has"},
		{name: "a flood at connect, in 3.1.1", broker: older(t, notifytest.Serve(t, floods), ""), says: "sends more than an answer has"},
		{name: "neither version", broker: older(t, "127.0.0.1:1", "\x20\x02\x00\x01"), says: "ended the connection when MQTT 3.1.1"},
		{name: "wrong password, in 3.1.1", broker: older(t, guarded.Address, "\x20\x02\x00\x01"), says: `does not take the account "weald"`},
		{name: "id not taken, in 3.1.1", broker: notifytest.Serve(t, older311(2, false)), says: `does not take the client id "weald-send-lamp"`},
		{name: "not ready, in 3.1.1", broker: notifytest.Serve(t, older311(3, false)), says: "is not ready"},
		{name: "no version at all", broker: notifytest.Serve(t, older311(1, false)), says: "does not speak MQTT 3.1.1"},
		{name: "never acknowledges, in 3.1.1", broker: notifytest.Serve(t, older311(0, false)), says: "has not acknowledged in time"},
		{name: "drops instead of acknowledging, in 3.1.1", broker: notifytest.Serve(t, older311(0, true)), says: "before it had taken it"},
	} {
		t.Run(c.name, func(t *testing.T) {
			top := &Topic{Broker: c.broker, Name: "weald/lamp", ClientID: "weald-send-lamp", User: "weald", Password: notifytest.Secret(t, planted), Patience: 10 * time.Second}
			if strings.Contains(c.says, "in time") {
				top.Patience = 300 * time.Millisecond
			}
			if c.tls {
				top.TLS = &wire.ClientTLS{CA: ca.File}
			}
			defer top.Close()
			err := top.Send(t.Context(), notifytest.Call())
			if err == nil || !strings.Contains(err.Error(), c.says) || strings.Contains(err.Error(), planted) {
				t.Errorf("%v", err)
			}
		})
	}
}
