package main

import (
	"fmt"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"weald/ingest/frame"
	"weald/ingest/mqtt/mosquitto"
	"weald/ingest/tcp/wire/wiretest"
)

// A publisher is a gateway with Wi-Fi: a client of MQTT that publishes to the
// topic of a bridge and waits until the broker has each frame.
type publisher struct {
	t      *testing.T
	client paho.Client
	topic  string
	buf    []byte
}

func newPublisher(t *testing.T, broker, bridge, user, password string) *publisher {
	t.Helper()
	p, err := dialPublisherAs(t, broker, bridge, user, password)
	if err != nil {
		t.Fatalf("%s at %s: %v", user, broker, err)
	}
	t.Cleanup(func() { p.client.Disconnect(50) })
	return p
}

// dialPublisher is newPublisher for who does not mind that nobody is there.
func dialPublisher(t *testing.T, broker, bridge string) (*publisher, error) {
	return dialPublisherAs(t, broker, bridge, bridge, bridge+"-secret")
}

func dialPublisherAs(t *testing.T, broker, bridge, user, password string) (*publisher, error) {
	o := paho.NewClientOptions().AddBroker("tcp://" + broker).SetClientID("gateway-" + bridge).
		SetUsername(user).SetPassword(password).SetProtocolVersion(4).
		SetAutoReconnect(false).SetConnectTimeout(10 * time.Second).SetWriteTimeout(10 * time.Second)
	p := &publisher{t: t, client: paho.NewClient(o), topic: "weald/" + bridge + "/frames"}
	return p, done(p.client.Connect())
}

// done waits for what the client library does.
func done(token paho.Token) error {
	if !token.WaitTimeout(10 * time.Second) {
		return os.ErrDeadlineExceeded
	}
	return token.Error()
}

func (p *publisher) publish(f *frame.Frame, retain bool) error {
	var err error
	if p.buf, err = frame.AppendPacked(p.buf[:0], f, frame.U16); err != nil {
		p.t.Fatal(err)
	}
	return done(p.client.Publish(p.topic, 1, retain, p.buf))
}

func (p *publisher) send(f *frame.Frame) {
	p.t.Helper()
	if err := p.publish(f, false); err != nil {
		p.t.Fatal(err)
	}
}

// Frames through a site's own broker, which is restarted in between and keeps
// for weald what comes before weald is back. A retained frame, of no known age,
// counts for nothing.
func TestThroughASitesBroker(t *testing.T) {
	t.Parallel()
	for version, port := range map[string]string{"5": "mqttv5", "3.1.1": "mqttv311"} {
		t.Run(port, func(t *testing.T) {
			t.Parallel()
			site := mosquitto.Start(t, mosquitto.Options{Passwords: map[string]string{"weald": "larch", "gateway": "fir"}})
			old := newPublisher(t, site.Address, "hub", "gateway", "fir")
			if err := old.publish(&frame.Frame{Kind: frame.Readings, Source: 1, Seq: 1 << 20, Readings: []float64{200, 200}}, true); err != nil {
				t.Fatal(err)
			}
			secret := write(t, "secret", "larch\n")
			link := fmt.Sprintf("mqtt: {broker: %q, version: %s, user: weald, password_file: %q}", site.Address, version, secret)
			address := start(t, "run", "-c", write(t, "hub.yaml", fmt.Sprintf(hubConfig, "", link, "packed")))
			eventually(t, longEnough, counted(t, address, map[string]float64{
				`weald_bridge_open{bridge="hub"}`:                              1,
				`weald_messages_dropped_total{bridge="hub",reason="retained"}`: 1,
			}))

			d := newDevice()
			d.until(t, old.send, raised(address, "leg-tight"), 70, 1)
			// An acknowledgement that is lost with the broker brings its frame
			// again, which is a repeat and nothing else.
			balanced := func() error {
				b, err := bridge(address, "hub")
				if err != nil {
					return err
				}
				leg, arm := b.Sources[0], b.Sources[1]
				sent, repeats := uint64(d.sent(1)+d.sent(2)), leg.Repeats+arm.Repeats
				if b.Messages.Offered != sent+repeats || b.Frames != sent+repeats || repeats > b.Messages.Duplicates ||
					leg.Scans+arm.Scans != sent || leg.Gaps+arm.Gaps != 0 || len(b.Bad) != 0 {
					return fmt.Errorf("%d frames sent, and %+v of messages %+v", sent, b, b.Messages)
				}
				return counted(t, address, map[string]float64{
					`weald_frames_total{bridge="hub"}`:             float64(b.Frames),
					`weald_messages_total{bridge="hub"}`:           float64(b.Messages.Offered),
					`weald_message_duplicates_total{bridge="hub"}`: float64(b.Messages.Duplicates),
					`weald_scans_total{source="hub/leg"}`:          d.sent(1),
					`weald_scans_total{source="hub/arm"}`:          d.sent(2),
				})()
			}
			eventually(t, longEnough, balanced)

			site.Stop()
			eventually(t, longEnough, troubled(t, address, "hub", site.Address))
			site.Run()
			// At once, most likely before weald has noticed.
			p := newPublisher(t, site.Address, "hub", "gateway", "fir")
			d.until(t, p.send, raised(address, "arm-tight", "leg-tight"), 70, 1, 2)
			eventually(t, longEnough, balanced)
			d.until(t, p.send, well(t, address), 70, 1, 2)
			b, err := bridge(address, "hub")
			if err != nil {
				t.Fatal(err)
			}
			if m := b.Messages; m == nil || m.Dropped["retained"] < 1 || b.Connections != 2 {
				t.Errorf("messages %+v over %d connections", m, b.Connections)
			}
		})
	}
}

// gatewayConfig is a bridge of a configuration: a gateway over the daemon's own listener, with
// a source of two channels and its password in a file of its name.
func gatewayConfig(id, source string, rate int) string {
	return fmt.Sprintf(`  - id: %s
    link: {mqtt: {listener: true, password_file: %[1]s.secret}}
    format: packed
    sources: [{number: 1, id: %s, channels: 2, rate: %d, unit: mmHg}]
`, id, source, rate)
}

var wardConfig = `
web: {listen: "127.0.0.1:0"}
mqtt: {listen: %q}
bridges:
` + gatewayConfig("hub-a", "leg", 10) + gatewayConfig("hub-b", "leg", 10) + `places:
  - {id: bench-a, kind: wrap, sites: [{id: ankle, channels: [hub-a/leg/0, hub-a/leg/1]}]}
  - {id: bench-b, kind: wrap, sites: [{id: calf, channels: [hub-b/leg/0, hub-b/leg/1]}]}
rules:
  - {id: a-tight, limit: {watch: ankle.pressure, above: 60}, on_delay: 1s, priority: high}
  - {id: b-tight, limit: {watch: calf.pressure, above: 60}, on_delay: 1s, priority: high}
`

// ward starts the daemon with its own listener.
func ward(t *testing.T, listen string) (address string) {
	t.Helper()
	name := write(t, "ward.yaml", fmt.Sprintf(wardConfig, listen))
	for _, bridge := range []string{"hub-a", "hub-b"} {
		if err := os.WriteFile(filepath.Join(filepath.Dir(name), bridge+".secret"), []byte(bridge+"-secret\n"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return start(t, "run", "-c", name)
}

// reachable waits until somebody listens.
func reachable(t *testing.T, address string) {
	t.Helper()
	eventually(t, longEnough, func() error {
		c, err := net.Dial("tcp", address)
		if err == nil {
			c.Close()
		}
		return err
	})
}

// Two bridges at the daemon's own listener. Neither can speak for the other, and
// a frame that comes twice, as through two gateways that hear the same sensor,
// counts once.
func TestThroughTheOwnListener(t *testing.T) {
	t.Parallel()
	port := wiretest.Vacant(t)
	address := ward(t, port)
	reachable(t, port)
	a := newPublisher(t, port, "hub-a", "hub-a", "hub-a-secret")
	thief := newPublisher(t, port, "hub-b", "hub-b", "hub-b-secret")
	thief.topic = a.topic
	if err := thief.publish(&frame.Frame{Kind: frame.Readings, Source: 1, Readings: []float64{200, 200}}, false); err == nil {
		t.Error("hub-b publishes for hub-a")
	}
	eventually(t, longEnough, troubled(t, address, "hub-b", "published to another topic than its bridge's"))
	stranger := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + port).SetUsername("hub-a").SetPassword("hub-b-secret"))
	if err := done(stranger.Connect()); err == nil {
		t.Error("hub-a comes in with the password of hub-b")
	}

	b := newPublisher(t, port, "hub-b", "hub-b", "hub-b-secret")
	da, db := newDevice(), newDevice()
	twice := func(f *frame.Frame) { b.send(f); b.send(f) }
	both := func(done func() error) func() error {
		return func() error {
			for _, f := range db.next(70, 1) {
				twice(f)
			}
			return done()
		}
	}
	da.until(t, a.send, both(raised(address, "a-tight", "b-tight")), 70, 1)
	balanced := func() error {
		return counted(t, address, map[string]float64{
			`weald_messages_total{bridge="hub-a"}`:            da.sent(1),
			`weald_frames_total{bridge="hub-a"}`:              da.sent(1),
			`weald_scans_total{source="hub-a/leg"}`:           da.sent(1),
			`weald_repeated_frames_total{source="hub-a/leg"}`: 0,
			`weald_messages_total{bridge="hub-b"}`:            2 * db.sent(1),
			`weald_frames_total{bridge="hub-b"}`:              2 * db.sent(1),
			`weald_scans_total{source="hub-b/leg"}`:           db.sent(1),
			`weald_repeated_frames_total{source="hub-b/leg"}`: db.sent(1),
			`weald_gap_scans_total{source="hub-b/leg"}`:       0,
		})()
	}
	eventually(t, longEnough, balanced)
	da.until(t, a.send, both(well(t, address)), 70, 1)

	b.client.Disconnect(50)
	eventually(t, longEnough, troubled(t, address, "hub-b", "said goodbye"))
}

// A port that another program has is said, and taken as soon as it is free.
func TestAListenerWhosePortIsTaken(t *testing.T) {
	t.Parallel()
	port := wiretest.Vacant(t)
	taken, err := net.Listen("tcp", port)
	if err != nil {
		t.Fatal(err)
	}
	address := ward(t, port)
	eventually(t, longEnough, troubled(t, address, "hub-a", "the daemon's MQTT listener is closed: "+port+" is in use by another program"))
	taken.Close()
	reachable(t, port)
	a := newPublisher(t, port, "hub-a", "hub-a", "hub-a-secret")
	d := newDevice()
	d.until(t, a.send, raised(address, "a-tight"), 70, 1)
	if b, err := bridge(address, "hub-a"); err != nil || b.Trouble != "" || b.State != "open" {
		t.Errorf("the bridge is %s and says %q, %v", b.State, b.Trouble, err)
	}
}
