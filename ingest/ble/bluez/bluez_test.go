package bluez

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/godbus/dbus/v5"
	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func TestParseUUID(t *testing.T) {
	for _, c := range []struct{ in, full, shown string }{
		{"180f", "0000180f-0000-1000-8000-00805f9b34fb", "0x180F"},
		{"0x2A6D", "00002a6d-0000-1000-8000-00805f9b34fb", "0x2A6D"},
		{"0001FEED", "0001feed-0000-1000-8000-00805f9b34fb", "0x0001FEED"},
		{"0000180F-0000-1000-8000-00805F9B34FB", "0000180f-0000-1000-8000-00805f9b34fb", "0x180F"},
		{"079787C2-8b5b-4277-a031-88e1e02c91d1", "079787c2-8b5b-4277-a031-88e1e02c91d1", "079787c2-8b5b-4277-a031-88e1e02c91d1"},
	} {
		u, err := ParseUUID(c.in)
		if err != nil || string(u) != c.full || u.String() != c.shown {
			t.Errorf("%s: %q, shown as %s, %v; want %s, %s", c.in, string(u), u, err, c.full, c.shown)
		}
		if again, err := ParseUUID(u.String()); err != nil || again != u {
			t.Errorf("%s as it is shown is read as %q, %v", u, string(again), err)
		}
	}
	for _, bad := range []string{
		"", "0x", "180", "180g", "0x180f0", "-180", "079787c28b5b4277a03188e1e02c91d1",
		"079787c2-8b5b-4277-a031-88e1e02c91dg", "079787c28-b5b-4277-a031-88e1e02c91d1", "079787c2-8b5b-4277-a031-88e1e02c91d1 ",
	} {
		if u, err := ParseUUID(bad); err == nil {
			t.Errorf("%q is taken for %s", bad, u)
		}
	}
	if Assigned(0x180F) != "0000180f-0000-1000-8000-00805f9b34fb" {
		t.Errorf("0x180F is %q", string(Assigned(0x180F)))
	}
}

func TestErrorsAreInPlainWords(t *testing.T) {
	for _, c := range []struct {
		name, text string
		is         error
	}{
		{"org.freedesktop.DBus.Error.ServiceUnknown", "", ErrNotRunning},
		{"org.freedesktop.DBus.Error.NameHasNoOwner", "", ErrNotRunning},
		{"org.freedesktop.DBus.Error.Spawn.ChildExited", "", ErrNotRunning},
		{"org.freedesktop.systemd1.NoSuchUnit", "", ErrNotRunning},
		{"org.freedesktop.DBus.Error.AccessDenied", "Rejected", fs.ErrPermission},
		{"org.freedesktop.DBus.Error.NoReply", "", ErrStopped},
		{"org.freedesktop.DBus.Error.UnknownObject", "", ErrVanished},
		{"org.bluez.Error.DoesNotExist", "", ErrVanished},
		{"org.bluez.Error.NotReady", "", ErrOff},
		{"org.bluez.Error.InProgress", "", ErrBusy},
		{"org.bluez.Error.NotPermitted", "Notify acquired", ErrBusy},
		{"org.bluez.Error.NotSupported", "", ErrUnsupported},
		{"org.bluez.Error.NotAuthorized", "", ErrPairing},
		{"org.bluez.Error.AuthenticationFailed", "", ErrPairing},
		{"org.bluez.Error.Failed", "Operation failed with ATT error: 0x05", ErrPairing},
		{"org.bluez.Error.Failed", "Operation failed with ATT error: 0x0F", ErrPairing},
		{"org.bluez.Error.Failed", "Operation failed with ATT error: 0x06", ErrFailed},
		{"org.bluez.Error.Failed", "le-connection-abort-by-local", ErrFailed},
		{"org.example.Surprise", "what", ErrFailed},
	} {
		answer := dbus.Error{Name: c.name, Body: []any{c.text}}
		if err := explain(t.Context(), answer); !errors.Is(err, c.is) {
			t.Errorf("%s %q is told as %v, want %v", c.name, c.text, err, c.is)
		}
	}
	if err := explain(t.Context(), dbus.ErrClosed); !errors.Is(err, ErrBusLost) || !errors.Is(err, dbus.ErrClosed) {
		t.Errorf("a closed bus is told as %v", err)
	}
	if err := explain(t.Context(), nil); err != nil {
		t.Errorf("no error is told as %v", err)
	}
	late := errors.New("late")
	ended, cancel := context.WithCancelCause(t.Context())
	cancel(late)
	if err := explain(ended, dbus.Error{Name: "org.bluez.Error.Failed"}); err != late {
		t.Errorf("after the end of the context: %v, want its cause", err)
	}
}

// signal is one that BlueZ may send.
func signal(at Path, name string, body ...any) *dbus.Signal {
	return &dbus.Signal{Path: at, Name: name, Body: body, Sender: ":1.5", Sequence: 10}
}

const (
	added   = "org.freedesktop.DBus.ObjectManager.InterfacesAdded"
	removed = "org.freedesktop.DBus.ObjectManager.InterfacesRemoved"
	changed = "org.freedesktop.DBus.Properties.PropertiesChanged"
)

func TestTheTreeFollowsSignals(t *testing.T) {
	tree := make(Tree)
	hci, dev := Path("/org/bluez/hci0"), Path("/org/bluez/hci0/dev_C4")
	apply := func(s *dbus.Signal, want bool) Event {
		t.Helper()
		e, ok := tree.apply(s)
		if ok != want {
			t.Errorf("%s %v has a meaning: %v", s.Name, s.Body, ok)
		}
		return e
	}
	apply(signal("/", added, hci, map[string]properties{adapterIface: {"Powered": dbus.MakeVariant(true)}}), true)
	apply(signal("/", added, dev, map[string]properties{deviceIface: {"Address": dbus.MakeVariant("C4"), "RSSI": dbus.MakeVariant(int16(-50))}}), true)
	apply(signal("/", added, dev, map[string]properties{batteryIface: {"Percentage": dbus.MakeVariant(byte(70))}}), true)
	if d := tree.Devices(hci); len(d) != 1 || d[0].RSSI != -50 || !d[0].Heard || d[0].Address != "C4" {
		t.Errorf("devices %+v", d)
	}
	if p, ok := tree.Battery(dev); p != 70 || !ok {
		t.Errorf("battery %d, %v", p, ok)
	}
	apply(signal(dev, changed, deviceIface, properties{"Connected": dbus.MakeVariant(true)}, []string{"RSSI"}), true)
	if d, ok := tree.Device(dev); !ok || !d.Connected || d.Heard {
		t.Errorf("device %+v", d)
	}
	char := dev + "/service0001/char0002"
	apply(signal(char, changed, characteristicIface, properties{"Value": dbus.MakeVariant([]byte{1})}, []string{}), false) // not known
	apply(signal("/", added, char, map[string]properties{characteristicIface: {}}), true)
	if e := apply(signal(char, changed, characteristicIface, properties{"Value": dbus.MakeVariant([]byte{1, 2})}, []string{}), true); !slices.Equal(e.Value, []byte{1, 2}) || e.Path != char {
		t.Errorf("notification %+v", e)
	}
	if e := apply(signal(char, changed, characteristicIface, properties{"Notifying": dbus.MakeVariant(true)}, []string{}), true); e.Value != nil {
		t.Errorf("notification %+v of something else", e)
	}
	apply(signal("/", removed, dev, []string{batteryIface}), true)
	if _, ok := tree.Battery(dev); ok {
		t.Error("the battery is still there")
	}
	apply(signal("/", removed, dev, []string{deviceIface}), true)
	if _, ok := tree.Device(dev); ok || tree[dev] != nil {
		t.Error("the device is still there")
	}

	// Whatever is not of this form must change nothing.
	for _, s := range []*dbus.Signal{
		signal("/", added), signal("/", added, "text", 5), signal("/", removed, hci),
		signal(hci, changed, adapterIface), signal(hci, changed, 1, 2, 3), signal(hci, "org.example.Other", "x"),
	} {
		apply(s, false)
	}
	// Properties of another type than BlueZ sends are as good as none.
	apply(signal(hci, changed, adapterIface, properties{"Powered": dbus.MakeVariant("yes"), "Address": dbus.MakeVariant(7)}, []string{}), true)
	if a, ok := tree.Adapter(hci); !ok || a.Powered || a.Address != "" {
		t.Errorf("adapter %+v", a)
	}
}

func TestNextPassesOver(t *testing.T) {
	b := &Bus{Tree: Tree{"/org/bluez/hci0": {adapterIface: {}}}, owner: ":1.5", met: 3, since: 8, signals: make(chan *dbus.Signal, 8)}
	power := func(sender string, seq dbus.Sequence, on bool) *dbus.Signal {
		s := signal("/org/bluez/hci0", changed, adapterIface, properties{"Powered": dbus.MakeVariant(on)}, []string{})
		s.Sender, s.Sequence = sender, seq
		return s
	}
	owner := func(sender string, seq dbus.Sequence, name, after string) *dbus.Signal {
		s := signal("/org/freedesktop/DBus", "org.freedesktop.DBus.NameOwnerChanged", name, ":1.5", after)
		s.Sender, s.Sequence = sender, seq
		return s
	}
	b.signals <- power(":1.5", 8, false) // the tree is newer
	b.signals <- power(":1.9", 9, false) // not BlueZ
	b.signals <- owner("org.freedesktop.DBus", 3, service, "")
	b.signals <- owner("org.freedesktop.DBus", 9, "org.example", "")
	b.signals <- owner(":1.9", 9, service, "") // not the bus
	b.signals <- power(":1.5", 10, true)
	if e, err := b.Next(t.Context()); err != nil || e.Path != "/org/bluez/hci0" {
		t.Fatalf("%+v, %v", e, err)
	}
	if a, _ := b.Tree.Adapter("/org/bluez/hci0"); !a.Powered {
		t.Error("the tree went back in time")
	}
	// That BlueZ went counts however new the tree is: it may be another's.
	b.signals <- owner("org.freedesktop.DBus", 7, service, ":1.11")
	if _, err := b.Next(t.Context()); err != ErrStopped {
		t.Errorf("another BlueZ: %v", err)
	}
	close(b.signals)
	if _, err := b.Next(t.Context()); err != ErrBusLost {
		t.Errorf("a lost bus: %v", err)
	}
}

// The library's handshake waits for ever; Dial must not.
func TestDialEndsWithItsContext(t *testing.T) {
	at := filepath.Join(t.TempDir(), "bus")
	l, err := net.Listen("unix", at)
	if err != nil {
		t.Skipf("no sockets here: %v", err)
	}
	defer l.Close()
	ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	if _, err := Dial(ctx, "unix:path="+at); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("a bus that says nothing: %v", err)
	}
	if _, err := Dial(t.Context(), "unix:path="+at+".none"); !errors.Is(err, ErrNoBus) || !strings.Contains(fmt.Sprint(err), "BlueZ") {
		t.Errorf("no bus: %v", err)
	}
}
