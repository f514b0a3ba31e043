package ble

import (
	"testing"

	"weald/ingest/ble/standin"
)

// level waits until the battery is told as want percent, -1 for not known.
func level(t *testing.T, c *Conn, want int) {
	t.Helper()
	eventually(t, "the level of the battery is told", func() bool {
		percent, known := c.Battery()
		return percent == want && known == (want >= 0)
	})
}

// withBattery gives a pad the Battery Service.
func withBattery(c *standin.Characteristic) func(*ward) {
	c.UUID = "00002a19-0000-1000-8000-00805f9b34fb"
	s := &standin.Service{UUID: "0000180f-0000-1000-8000-00805f9b34fb", Characteristics: []*standin.Characteristic{c}}
	return func(w *ward) { w.pad.Services = append(w.pad.Services, s) }
}

func TestBatteryThatBlueZReads(t *testing.T) {
	w := newWard(t, true, func(w *ward) { w.pad.Battery = 81 })
	c := open(t, w.link(t, Config{Address: padAddress}))
	level(t, c, 81)
	w.pad.SetBattery(80)
	level(t, c, 80)
	w.pad.SetBattery(255)
	level(t, c, -1)
	w.pad.SetBattery(79)
	level(t, c, 79)
}

func TestBatteryServiceThatBlueZLeavesToUs(t *testing.T) {
	for _, flags := range [][]string{{"read", "notify"}, {"read"}, {"notify"}} {
		battery := &standin.Characteristic{Flags: flags, Value: []byte{64}}
		w := newWard(t, true, withBattery(battery))
		c := open(t, w.link(t, Config{Address: padAddress}))
		if flags[0] == "read" {
			level(t, c, 64)
		} else {
			level(t, c, -1)
		}
		if len(flags) == 1 && flags[0] == "read" {
			continue
		}
		battery.Notify([]byte{63})
		level(t, c, 63)
		for _, bad := range [][]byte{{101}, {}, {63, 0}} {
			battery.Notify(bad)
			level(t, c, -1)
			battery.Notify([]byte{62})
			level(t, c, 62)
		}
		// Its notifications are no frames.
		w.frames.Notify([]byte{1, 2, 3})
		if got := message(t, c); len(got) != 3 {
			t.Errorf("read %x, want 010203", got)
		}
	}
}

func TestABatteryThatRefusesIsNoObstacle(t *testing.T) {
	w := newWard(t, true, withBattery(&standin.Characteristic{Flags: []string{"notify"}, Refuse: "NotAuthorized Not authorised"}))
	level(t, open(t, w.link(t, Config{Address: padAddress})), -1)
}

func TestWithoutABattery(t *testing.T) {
	w := newWard(t, true)
	level(t, open(t, w.link(t, Config{Address: padAddress})), -1)
}
