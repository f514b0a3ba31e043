package main

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"strings"
	"testing"

	"weald/ingest/ble"
	"weald/ingest/ble/standin"
	"weald/ingest/frame"
)

const bleConfig = `
web: {listen: "127.0.0.1:0"}
bridges:
  - id: pad
    link: {ble: {address: "C4:2D:5E:00:10:7F"}}
    format: packed
    sources: [{number: 1, id: leg, channels: 2, rate: 10, unit: mmHg}]
  - id: gauge
    link: {ble: {name: gauge-2, pressure: {is: gauge}}}
    format: packed
    sources: [{number: 8, id: cuff, channels: 1, rate: 10}]
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [pad/leg/0, pad/leg/1]}]}
  - {id: bench-2, kind: wrap, sites: [{id: calf, channels: [gauge/cuff/0]}]}
rules:
  - {id: leg-tight, limit: {watch: ankle.pressure, above: 60}, on_delay: 1s, priority: high}
  - {id: arm-tight, limit: {watch: calf.pressure, above: 60}, on_delay: 1s, priority: high}
`

// onAir is airOn what the program takes for the system's bus.
func onAir(t *testing.T) (pad *standin.Peripheral, frames, pressure *standin.Characteristic) {
	t.Helper()
	bus := standin.StartBus(t)
	t.Setenv("DBUS_SYSTEM_BUS_ADDRESS", bus)
	return airOn(t, bus)
}

// airOn puts a pad with packed frames and a plain pressure gauge into the air of
// a stand-in for BlueZ.
func airOn(t *testing.T, bus string) (pad *standin.Peripheral, frames, pressure *standin.Characteristic) {
	t.Helper()
	bluez := standin.Start(t, bus)
	frames = &standin.Characteristic{UUID: ble.FramesUUID, Flags: []string{"notify"}, Acquire: true}
	pad = bluez.Add(&standin.Peripheral{
		Address: "C4:2D:5E:00:10:7F", Name: "Larch pad 3", RSSI: -61, Battery: 83, Advertises: []string{ble.ServiceUUID},
		Services: []*standin.Service{{UUID: ble.ServiceUUID, Characteristics: []*standin.Characteristic{frames}}},
	})
	pressure = &standin.Characteristic{UUID: "00002a6d-0000-1000-8000-00805f9b34fb", Flags: []string{"notify"}}
	const sensing = "0000181a-0000-1000-8000-00805f9b34fb"
	bluez.Add(&standin.Peripheral{
		Address: "C4:2D:5E:00:10:80", Name: "gauge-2", RSSI: -48, Advertises: []string{sensing},
		Services: []*standin.Service{{UUID: sensing, Characteristics: []*standin.Characteristic{pressure}}},
	})
	return pad, frames, pressure
}

// A pad walks away and comes back; beside it is a gauge that knows nothing of
// our frames.
func TestOverBluetooth(t *testing.T) {
	pad, frames, pressure := onAir(t)
	address := start(t, "run", "-c", write(t, "air.yaml", bleConfig))
	listening := func(c *standin.Characteristic) {
		t.Helper()
		eventually(t, longEnough, func() error {
			if c.Listeners() == 0 {
				b, _ := bridge(address, "pad")
				return fmt.Errorf("nobody listens; the pad is %s: %q", b.State, b.Trouble)
			}
			return nil
		})
	}
	listening(frames)
	listening(pressure)
	d, values := newDevice(), 0
	var buf []byte
	send := func(f *frame.Frame) {
		t.Helper()
		var err error
		if buf, err = frame.AppendPacked(buf[:0], f, frame.U16); err != nil {
			t.Fatal(err)
		}
		if !frames.Notify(buf) {
			t.Fatal("nobody hears the pad")
		}
		// 80 mmHg above ambient is 10,666 Pa, in steps of 0.1 Pa.
		if !pressure.Notify(binary.LittleEndian.AppendUint32(nil, 106658)) {
			t.Fatal("nobody hears the gauge")
		}
		values++
	}
	d.until(t, send, raised(address, "arm-tight", "leg-tight"), 70, 1)
	balanced := func(lost float64) func() error {
		return counted(t, address, map[string]float64{
			`weald_frames_total{bridge="pad"}`:           d.sent(1) - lost,
			`weald_scans_total{source="pad/leg"}`:        d.sent(1) - lost,
			`weald_gap_scans_total{source="pad/leg"}`:    lost,
			`weald_frames_total{bridge="gauge"}`:         float64(values),
			`weald_scans_total{source="gauge/cuff"}`:     float64(values),
			`weald_gap_scans_total{source="gauge/cuff"}`: 0,
		})
	}
	eventually(t, longEnough, balanced(0))
	d.until(t, send, func() error {
		place, err := get[struct {
			Signals map[string]struct{ Value *float64 }
		}](address, "/api/v1/places/bench-2")
		if p := place.Signals["calf.pressure"].Value; err != nil || p == nil || *p < 79.99 || *p > 80.01 {
			return fmt.Errorf("the gauge gives %v, %v, want 80 mmHg", p, err)
		}
		return counted(t, address, map[string]float64{`weald_site_pressure_mmhg{place="bench-1",site="ankle"}`: 71})()
	}, 70, 1)
	b, err := bridge(address, "pad")
	if err != nil || b.Sources[0].Battery == nil || *b.Sources[0].Battery != 83 || b.Sources[0].BatteryV != nil {
		t.Errorf("%+v, %v, want a battery of 83 %%", b.Sources, err)
	}

	pad.SetBattery(82)
	pad.Drop()
	eventually(t, longEnough, troubled(t, address, "pad", "ended the connection or went out of reach"))
	if answer := text(t, address, "/readyz"); strings.Contains(answer, "bridge gauge") {
		t.Errorf("the pad's drop is the gauge's trouble: %s", answer)
	}
	const lost = 3
	d.seqs[1] += lost
	listening(frames)
	d.until(t, send, well(t, address), 70, 1)
	d.until(t, send, func() error {
		b, err := bridge(address, "pad")
		if err == nil && (b.Sources[0].Battery == nil || *b.Sources[0].Battery != 82 || b.Connections != 2) {
			err = fmt.Errorf("battery %v, %d connections", b.Sources[0].Battery, b.Connections)
		}
		return err
	}, 70, 1)
	eventually(t, longEnough, balanced(lost))
}

func TestPortsListsPeripherals(t *testing.T) {
	onAir(t)
	var stdout, stderr bytes.Buffer
	if code := run(t.Context(), []string{"ports", "--scan", "300ms"}, &stdout, &stderr); code != 0 {
		t.Fatalf("ended with %d: %s", code, stderr.String())
	}
	_, table, _ := strings.Cut(stdout.String(), "ADDRESS")
	want := `            NAME         SIGNAL   OFFERS    ADAPTER
C4:2D:5E:00:10:7F  Larch pad 3  -61 dBm  frames    hci0
C4:2D:5E:00:10:80  gauge-2      -48 dBm  pressure  hci0
`
	if table != want {
		t.Errorf("got %q, want %q", table, want)
	}
}

// Most machines have serial ports and no Bluetooth; that is one line, and no
// failure.
func TestPortsWithoutBluetooth(t *testing.T) {
	t.Setenv("DBUS_SYSTEM_BUS_ADDRESS", "unix:path="+t.TempDir()+"/none")
	var stdout, stderr bytes.Buffer
	if code := run(t.Context(), []string{"ports"}, &stdout, &stderr); code != 0 {
		t.Fatalf("ended with %d: %s", code, stderr.String())
	}
	said, found := "", 0
	for line := range strings.Lines(stderr.String()) {
		if strings.HasPrefix(line, "no Bluetooth: ") {
			said, found = line, found+1
		}
	}
	if found != 1 || !strings.Contains(said, "D-Bus") || strings.Contains(stdout.String(), "ADDRESS") {
		t.Errorf("%q and %q, want one line about Bluetooth", stdout.String(), stderr.String())
	}
}
