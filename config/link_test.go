package config

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"weald/ingest/ble"
	"weald/ingest/mqtt"
	"weald/ingest/tcp/wire"
)

func TestLinks(t *testing.T) {
	c := ward(t)
	got := map[string]Link{}
	for _, b := range c.Bridges[3:] {
		got[b.ID] = b.Link
	}
	want := map[string]Link{
		"gateway": {Dial: &Dial{Address: "10.0.0.5:4000", Idle: 2 * time.Minute, TLS: &wire.ClientTLS{CA: "testdata/ca.pem", ServerName: "gw"}}},
		"caller": {Listen: &Listen{Address: ":4000", Idle: -1, Quiet: 10 * time.Second,
			TLS: &wire.ServerTLS{Certificate: "/etc/weald/c.pem", Key: "testdata/c.key", ClientCA: "testdata/ca.pem"}}},
		"wifi":   {MQTT: &MQTT{Broker: "broker:1883", User: "weald", PasswordFile: "testdata/secret/broker", KeepFor: 2 * time.Hour, TLS: &wire.ClientTLS{}}},
		"wifi-2": {MQTT: &MQTT{Broker: "broker:1883", Version: mqtt.V311, ClientID: "larch"}},
		"board":  {Client: &Client{PasswordFile: "testdata/secret/board"}},
		"pad":    {BLE: &ble.Config{Address: "C4:2D:5E:00:10:7F"}},
		"gauge":  {BLE: &ble.Config{Name: "gauge-2", Adapter: "hci0", Pressure: &ble.Pressure{Is: ble.Absolute, Ambient: 1013.2, Source: 8}}},
	}
	if d := cmp.Diff(want, got, cmpopts.EquateEmpty()); d != "" {
		t.Error(d)
	}
	own := &Broker{Listen: ":1883", MaxClients: 64, TLS: &wire.ServerTLS{Certificate: "testdata/c.pem", Key: "testdata/c.key"}}
	if d := cmp.Diff(own, c.MQTT); d != "" {
		t.Error(d)
	}
}

// The one channel of a plain pressure sensor needs no calibration by hand.
func TestAPlainPressureSensorIsCalibrated(t *testing.T) {
	c := ward(t)
	b := c.Bridges[len(c.Bridges)-1]
	s := b.Sources[0]
	if s.ID != "gauge/cuff" || len(s.Lines) != 1 || s.Lines[0].Slope != b.Link.BLE.Pressure.Line().Slope || s.Lines[0].Offset > -759 || s.Lines[0].Offset < -761 {
		t.Errorf("%+v, want the line of its pressure", s)
	}
	if p := c.Plan().Sources[s.Index]; !p.Calibrated || p.U != nil {
		t.Errorf("%+v in the plan", p)
	}
}

// A source that is slow by nature is not given up for its silence.
func TestTheUsualIdleOutlastsSlowSources(t *testing.T) {
	for rate, want := range map[string]time.Duration{"1": 2 * time.Minute, "0.01": 5 * time.Minute} {
		c := parse(t, []byte(`
bridges:
  - id: b
    link: {tcp: {dial: "gw:4000"}}
    format: packed
    sources: [{number: 0, id: s, channels: 1, rate: `+rate+`}, {number: 1, id: t, channels: 1, rate: 0.001}]
`))
		if got := c.Bridges[0].Link.Dial.Idle; got != want {
			t.Errorf("rate %s: idle %v, want %v", rate, got, want)
		}
	}
}

// The same port of another address, and a port that the system chooses, are
// free.
func TestListenersSideBySide(t *testing.T) {
	c := parse(t, []byte(`
web: {listen: "127.0.0.1:0"}
mqtt: {listen: "10.0.0.1:4000"}
bridges:
  - id: b
    link: {tcp: {listen: "127.0.0.1:4000"}}
    format: packed
    sources: [{number: 0, id: s, channels: 1, rate: 1}]
  - id: c
    link: {tcp: {listen: "[::1]:4000"}}
    format: packed
    sources: [{number: 0, id: s, channels: 1, rate: 1}]
`))
	if c.MQTT.MaxClients != 1024 || c.MQTT.TLS != nil || c.Bridges[0].Link.Listen.Quiet != 5*time.Second {
		t.Errorf("defaults: %+v, %+v", c.MQTT, c.Bridges[0].Link.Listen)
	}
}
