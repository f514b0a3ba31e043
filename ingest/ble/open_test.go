package ble

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"strings"
	"testing"
	"time"

	"weald/ingest/ble/bluez"
	"weald/ingest/ble/standin"
)

func TestOpenFindsByAddressAndByName(t *testing.T) {
	for _, c := range []Config{
		{Address: padAddress},
		{Address: strings.ToLower(padAddress)},
		{Name: "Larch pad 3"},
		{Name: "Larch pad 3", Adapter: "hci0"},
		{Address: padAddress, Adapter: "00:00:5e:00:53:00", Service: strings.ToUpper(ServiceUUID)},
	} {
		w := newWard(t, true)
		l := w.link(t, c)
		conn := open(t, l)
		if !w.pad.Connected() || !conn.Whole() {
			t.Errorf("%s: not connected, or not whole messages", l.Name())
		}
		if n := w.bluez.Scans(); n != 0 {
			t.Errorf("%s: the scan goes on", l.Name())
		}
	}
}

func TestOpenSaysWhatIsWrong(t *testing.T) {
	const elsewhere = "C4:2D:5E:00:10:FF"
	for _, c := range []struct {
		name   string
		with   Config
		made   func(*ward) // how the pad is made
		change func(*ward) // what happens then
		is     error
		says   string
	}{
		{name: "out of reach", with: Config{Address: elsewhere}, is: ErrNotFound, says: "is it on, charged"},
		{name: "no such name", with: Config{Name: "Larch pad 9"}, is: ErrNotFound, says: "hci0 listened for"},
		{name: "no such adapter", with: Config{Address: padAddress, Adapter: "hci7"}, is: ErrNoAdapter, says: "hci7; there is hci0"},
		{name: "no adapter", with: Config{Address: padAddress}, change: func(w *ward) { w.bluez.Unplug("hci0") }, is: ErrNoAdapter, says: "this machine has none"},
		{name: "adapter off", with: Config{Address: padAddress}, change: func(w *ward) { w.bluez.Power("hci0", false) }, is: bluez.ErrOff, says: "hci0: "},
		{name: "BlueZ stopped", with: Config{Address: padAddress}, change: func(w *ward) { w.bluez.Stop() }, is: bluez.ErrNotRunning, says: "systemctl start bluetooth"},
		{name: "no bus", with: Config{Address: padAddress}, change: func(w *ward) { w.bus = "unix:path=/nonexistent/bus" }, is: bluez.ErrNoBus},
		{name: "no service", with: Config{Address: padAddress, Service: "0x181A"}, is: ErrNoService, says: "0x181A; it offers " + ServiceUUID},
		{name: "no characteristic", with: Config{Address: padAddress, Characteristic: "2a6d"}, is: ErrNoService, says: "with characteristic 0x2A6D; service " + ServiceUUID + " has " + FramesUUID},
		{name: "cannot notify", with: Config{Address: padAddress}, made: func(w *ward) { w.frames.Flags = []string{"read", "write"} }, says: "sends no notifications (it can read, write)"},
		{name: "walked away", with: Config{Address: padAddress}, change: func(w *ward) { w.pad.Remember(); w.pad.Away(true) }, is: ErrNotFound, says: "le-connection-abort-by-local"},
		{name: "connect refused", with: Config{Address: padAddress}, made: func(w *ward) { w.pad.Refuse = "NotReady Resource Not Ready" }, is: bluez.ErrOff},
		{name: "unpaired", with: Config{Address: padAddress}, made: func(w *ward) { w.frames.Refuse = "Failed Operation failed with ATT error: 0x05" }, is: bluez.ErrPairing, says: "bluetoothctl pair"},
		{name: "not authorised", with: Config{Address: padAddress}, made: func(w *ward) { w.frames.Refuse = "NotAuthorized Not authorised" }, is: bluez.ErrPairing},
		{name: "refused otherwise", with: Config{Address: padAddress}, made: func(w *ward) { w.frames.Refuse = "Failed Operation failed with ATT error: 0x11" }, is: bluez.ErrFailed, says: "ATT error: 0x11"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if c.made == nil {
				c.made = func(*ward) {}
			}
			w := newWard(t, true, c.made)
			if c.change != nil {
				c.change(w)
			}
			l := w.link(t, c.with)
			if c.is == ErrNotFound {
				l.limits.scan = 300 * time.Millisecond
			}
			conn, err := l.Open(t.Context())
			if err == nil {
				conn.Close()
				t.Fatal("it opened")
			}
			if c.is != nil {
				wants(t, err, c.is)
			}
			if !strings.Contains(err.Error(), c.says) || !strings.HasPrefix(err.Error(), l.Name()+": ") {
				t.Errorf("%q, want it to begin with the link's name and to say %q", err, c.says)
			}
			if w.pad.Connected() {
				t.Error("the peripheral stays connected")
			}
			eventually(t, "no scan is left", func() bool { return w.bluez.Scans() == 0 })
		})
	}
}

func TestOpenWithoutPermission(t *testing.T) {
	w := &ward{bus: standin.StartBus(t, standin.Forbidden)}
	standin.Start(t, w.bus)
	_, err := w.link(t, Config{Address: padAddress}).Open(t.Context())
	wants(t, err, fs.ErrPermission)
	if err == nil || !strings.Contains(err.Error(), "group bluetooth") {
		t.Errorf("%v does not say who may", err)
	}
}

func TestTwoOfOneNameAreNotChosenFrom(t *testing.T) {
	w := newWard(t, true)
	w.bluez.Add(&standin.Peripheral{Address: "C4:2D:5E:00:10:80", Name: w.pad.Name, RSSI: -40})
	_, err := w.link(t, Config{Name: w.pad.Name}).Open(t.Context())
	if err == nil || !strings.Contains(err.Error(), "(C4:2D:5E:00:10:7F, C4:2D:5E:00:10:80)") {
		t.Errorf("%v, want both addresses", err)
	}
}

// A peripheral of that name from another day must not be waited for when the
// one that has the name now is here.
func TestANameHasToBeHeard(t *testing.T) {
	w := newWard(t, true)
	old := w.bluez.Add(&standin.Peripheral{Address: "C4:2D:5E:00:10:01", Name: w.pad.Name, RSSI: -40})
	old.Remember()
	old.Away(true)
	open(t, w.link(t, Config{Name: w.pad.Name}))
	if !w.pad.Connected() {
		t.Error("the one in reach is not connected")
	}
}

func TestAPeripheralThatComesLaterIsFound(t *testing.T) {
	w := newWard(t, true)
	w.pad.Away(true)
	time.AfterFunc(150*time.Millisecond, func() { w.pad.Away(false) })
	open(t, w.link(t, Config{Address: padAddress}))
}

func TestOpenEndsWithItsContext(t *testing.T) {
	w := newWard(t, true)
	l := w.link(t, Config{Name: "nobody"})
	l.limits.scan = time.Hour
	ctx, cancel := context.WithTimeout(t.Context(), 100*time.Millisecond)
	defer cancel()
	began := time.Now()
	_, err := l.Open(ctx)
	wants(t, err, context.DeadlineExceeded)
	if d := time.Since(began); d > 5*time.Second {
		t.Errorf("it took %v", d)
	}
	if _, err := l.Open(ctx); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("with an ended context: %v", err)
	}
}

// What takes too long is given up, said, and called off.
func TestOpenDoesNotWaitForEver(t *testing.T) {
	for _, c := range []struct{ stalls, says string }{
		{"connect", "no connection within 100ms"},
		{"services", "did not tell its services within 100ms"},
	} {
		w := newWard(t, true, func(w *ward) { w.pad.Stalls = c.stalls })
		l := w.link(t, Config{Address: padAddress})
		l.limits.connect, l.limits.resolve = 100*time.Millisecond, 100*time.Millisecond
		if c.stalls == "services" {
			l.limits.connect = 10 * time.Second
		}
		_, err := l.Open(t.Context())
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%v, want %q", err, c.says)
		}
		if w.pad.Connected() || w.pad.Pending() {
			t.Errorf("after stalled %s: connected %v, connecting %v", c.stalls, w.pad.Connected(), w.pad.Pending())
		}
	}
}

// Everything can go while Open is at it.
func TestLostWhileOpening(t *testing.T) {
	for _, c := range []struct {
		name   string
		stalls string // "" while scanning for somebody else
		lose   func(*ward)
		is     error
	}{
		{"BlueZ, scanning", "", func(w *ward) { w.bluez.Stop() }, bluez.ErrStopped},
		{"adapter, scanning", "", func(w *ward) { w.bluez.Unplug("hci0") }, ErrAdapterGone},
		{"power, scanning", "", func(w *ward) { w.bluez.Power("hci0", false) }, ErrAdapterGone},
		{"BlueZ, connecting", "connect", func(w *ward) { w.bluez.Stop() }, bluez.ErrStopped},
		{"adapter, connecting", "connect", func(w *ward) { w.bluez.Unplug("hci0") }, ErrNotFound},
		{"BlueZ, resolving", "services", func(w *ward) { w.bluez.Stop() }, bluez.ErrStopped},
		{"adapter, resolving", "services", func(w *ward) { w.bluez.Unplug("hci0") }, ErrAdapterGone},
		{"peripheral, resolving", "services", func(w *ward) { w.pad.Drop() }, ErrDropped},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := newWard(t, true, func(w *ward) { w.pad.Stalls = c.stalls })
			config := Config{Address: padAddress}
			if c.stalls == "" {
				config.Address = "C4:2D:5E:00:10:FF"
			}
			l := w.link(t, config)
			failed := make(chan error, 1)
			go func() {
				_, err := l.Open(t.Context())
				failed <- err
			}()
			eventually(t, "it is at it", func() bool {
				switch c.stalls {
				case "connect":
					return w.pad.Pending()
				case "services":
					return w.pad.Connected()
				}
				return w.bluez.Scans() > 0
			})
			time.Sleep(20 * time.Millisecond)
			c.lose(w)
			wants(t, <-failed, c.is)
		})
	}
}

func TestAConnectionOutlivesTheContextOfItsOpen(t *testing.T) {
	w := newWard(t, true)
	ctx, cancel := context.WithCancel(t.Context())
	c, err := w.link(t, Config{Address: padAddress}).Open(ctx)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	cancel()
	time.Sleep(20 * time.Millisecond)
	w.frames.Notify([]byte{1})
	message(t, c)
}

// What somebody else connected is not ours to disconnect.
func TestAConnectionOfOthersIsLeftAlone(t *testing.T) {
	w := newWard(t, false)
	first := open(t, w.link(t, Config{Address: padAddress}))
	second := open(t, w.link(t, Config{Address: padAddress}))
	if err := second.Close(); err != nil {
		t.Fatal(err)
	}
	w.frames.Notify([]byte{1})
	message(t, first)
}

func TestAcquiredByAnotherProgram(t *testing.T) {
	w := newWard(t, true)
	open(t, w.link(t, Config{Address: padAddress}))
	_, err := w.link(t, Config{Address: padAddress}).Open(t.Context())
	wants(t, err, bluez.ErrBusy)
	if !w.pad.Connected() {
		t.Error("the first link lost its peripheral")
	}
}

func TestNew(t *testing.T) {
	for _, c := range []struct {
		config Config
		keys   string
	}{
		{Config{Address: padAddress}, ""},
		{Config{Name: "x", Pressure: &Pressure{Is: Gauge}}, ""},
		{Config{Name: "x", Pressure: &Pressure{Is: Absolute, Ambient: 1013.25}}, ""},
		{Config{}, "address"},
		{Config{Address: padAddress, Name: "x"}, "name"},
		{Config{Address: "C4:2D:5E:00:10"}, "address"},
		{Config{Address: "C4:2D:5E:00:10:7G", Adapter: "/org/bluez/hci0", Service: "?"}, "address adapter service"},
		{Config{Name: "x", Characteristic: "123456789"}, "characteristic"},
		{Config{Name: "x", Pressure: &Pressure{}}, "pressure.is"},
		{Config{Name: "x", Pressure: &Pressure{Is: Gauge, Ambient: 1000}}, "pressure.ambient_hpa"},
		{Config{Name: "x", Pressure: &Pressure{Is: Absolute, Ambient: 1013250}}, "pressure.ambient_hpa"},
	} {
		var keys []string
		for _, p := range c.config.Problems() {
			keys = append(keys, p.Key)
		}
		if got := strings.Join(keys, " "); got != c.keys {
			t.Errorf("%+v: problems with %q, want %q", c.config, got, c.keys)
		}
		if _, err := New(c.config); (err == nil) != (c.keys == "") {
			t.Errorf("%+v: New says %v", c.config, err)
		}
	}
}

// The system bus of the machine that runs the tests is nothing to rely on, but
// whatever there is must be survived and put into words.
func TestWithoutAnAddressTheSystemBusIsMeant(t *testing.T) {
	t.Setenv("DBUS_SYSTEM_BUS_ADDRESS", "unix:path="+t.TempDir()+"/none")
	l, err := New(Config{Address: padAddress})
	if err != nil {
		t.Fatal(err)
	}
	_, err = l.Open(t.Context())
	wants(t, err, bluez.ErrNoBus)
	wants(t, err, os.ErrNotExist)
}
