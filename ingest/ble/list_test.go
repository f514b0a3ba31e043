package ble

import (
	"context"
	"io/fs"
	"slices"
	"testing"
	"time"

	"weald/ingest/ble/bluez"
	"weald/ingest/ble/standin"
)

func TestListTellsWhatIsInReach(t *testing.T) {
	w := newWard(t, true)
	w.bluez.Add(&standin.Peripheral{Address: "C4:2D:5E:00:10:90", RSSI: -30, Advertises: []string{}})
	w.bluez.Add(&standin.Peripheral{Address: "C4:2D:5E:00:10:91", Name: "gauge", RSSI: -80, Advertises: []string{"0000181A-0000-1000-8000-00805F9B34FB"}})
	gone := w.bluez.Add(&standin.Peripheral{Address: "C4:2D:5E:00:10:92", Name: "yesterday", Advertises: []string{ServiceUUID}})
	gone.Remember()
	gone.Away(true)
	got, err := Finder{Bus: w.bus}.List(t.Context(), 200*time.Millisecond)
	want := []Peripheral{
		{Adapter: "hci0", Address: padAddress, Name: "Larch pad 3", RSSI: -61, Frames: true},
		{Adapter: "hci0", Address: "C4:2D:5E:00:10:90", RSSI: -30},
		{Adapter: "hci0", Address: "C4:2D:5E:00:10:91", Name: "gauge", RSSI: -80, Pressure: true},
	}
	if err != nil || !slices.Equal(got, want) {
		t.Errorf("got %+v, %v\nwant %+v", got, err, want)
	}
	eventually(t, "no scan is left", func() bool { return w.bluez.Scans() == 0 })

	open(t, w.link(t, Config{Address: padAddress}))
	got, err = Finder{Bus: w.bus, Adapter: "hci0"}.List(t.Context(), 50*time.Millisecond)
	if err != nil || len(got) != 3 || !got[0].Connected || got[0].Address != padAddress {
		t.Errorf("with one connected: %+v, %v", got, err)
	}
}

func TestListWithSeveralAdapters(t *testing.T) {
	w := newWard(t, true)
	w.bluez.Plug("hci1")
	w.bluez.Power("hci0", false)
	got, err := Finder{Bus: w.bus}.List(t.Context(), 100*time.Millisecond)
	if err != nil || len(got) != 1 || got[0].Adapter != "hci1" {
		t.Errorf("with hci0 off: %+v, %v", got, err)
	}
	w.bluez.Power("hci1", false)
	_, err = Finder{Bus: w.bus}.List(t.Context(), time.Minute)
	wants(t, err, bluez.ErrOff)
	w.bluez.Unplug("hci0")
	w.bluez.Unplug("hci1")
	_, err = Finder{Bus: w.bus}.List(t.Context(), time.Minute)
	wants(t, err, ErrNoAdapter)
	_, err = Finder{Bus: w.bus, Adapter: "hci0"}.List(t.Context(), time.Minute)
	wants(t, err, ErrNoAdapter)
}

func TestListSaysWhyNot(t *testing.T) {
	w := newWard(t, true)
	ctx, cancel := context.WithTimeout(t.Context(), 100*time.Millisecond)
	defer cancel()
	_, err := Finder{Bus: w.bus}.List(ctx, time.Minute)
	wants(t, err, context.DeadlineExceeded)
	w.bluez.Stop()
	_, err = Finder{Bus: w.bus}.List(t.Context(), time.Minute)
	wants(t, err, bluez.ErrNotRunning)

	forbidden := standin.StartBus(t, standin.Forbidden)
	standin.Start(t, forbidden)
	_, err = Finder{Bus: forbidden}.List(t.Context(), time.Minute)
	wants(t, err, fs.ErrPermission)

	t.Setenv("DBUS_SYSTEM_BUS_ADDRESS", "unix:path="+t.TempDir()+"/none")
	_, err = List(t.Context(), time.Minute)
	wants(t, err, bluez.ErrNoBus)
}
