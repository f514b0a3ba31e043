package bluez

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"github.com/godbus/dbus/v5"
)

// service is the name that BlueZ has on the bus.
const service = "org.bluez"

// A Bus is a connection to BlueZ. Its methods are for one goroutine at a time,
// except Close, which any may call and which makes the others return.
type Bus struct {
	// Tree is what BlueZ exports, as of the last event.
	Tree Tree

	conn    *dbus.Conn
	signals chan *dbus.Signal
	owner   string        // the unique name of the BlueZ that we talk to; empty at first
	met     dbus.Sequence // of the answer that told owner
	since   dbus.Sequence // of the answer that Tree is a copy of
}

// Dial connects to the bus at a D-Bus address, the system bus where it is
// empty, and copies the tree. The connection outlives ctx.
func Dial(ctx context.Context, address string) (*Bus, error) {
	life, end := context.WithCancel(context.Background())
	stop := context.AfterFunc(ctx, end) // the library's handshake knows no deadline
	defer stop()
	conn, err := connect(life, address)
	if err != nil {
		end()
		return nil, refused(ctx, err)
	}
	b := &Bus{conn: conn, signals: make(chan *dbus.Signal, 64)}
	conn.Signal(b.signals)
	context.AfterFunc(conn.Context(), end) // which Close ends
	if err := b.greet(ctx); err != nil {
		b.Close()
		return nil, err
	}
	if !stop() && ctx.Err() != nil {
		b.Close()
		return nil, context.Cause(ctx)
	}
	return b, nil
}

func connect(ctx context.Context, address string) (*dbus.Conn, error) {
	options := []dbus.ConnOption{
		dbus.WithContext(ctx),
		// The library's default starts a goroutine a signal when the receiver
		// is busy, and so mixes up their order.
		dbus.WithSignalHandler(dbus.NewSequentialSignalHandler()),
	}
	if address == "" {
		return dbus.ConnectSystemBus(options...)
	}
	return dbus.Connect(address, options...)
}

// refused says why there is no connection to the message bus.
func refused(ctx context.Context, err error) error {
	switch {
	case ctx.Err() != nil:
		return context.Cause(ctx)
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("%w to use D-Bus: %w", fs.ErrPermission, err)
	}
	return fmt.Errorf("%w: %w", ErrNoBus, err)
}

// greet learns which BlueZ this is, and asks to be told when it goes.
func (b *Bus) greet(ctx context.Context) error {
	err := b.conn.AddMatchSignalContext(ctx,
		dbus.WithMatchSender("org.freedesktop.DBus"),
		dbus.WithMatchInterface("org.freedesktop.DBus"),
		dbus.WithMatchMember("NameOwnerChanged"),
		dbus.WithMatchArg(0, service))
	if err != nil {
		return explain(ctx, err)
	}
	// This comes before the question who it is, as it starts BlueZ where the
	// system does so on demand.
	if err := b.Watch(ctx, departures()); err != nil {
		return err
	}
	call := b.conn.BusObject().CallWithContext(ctx, "org.freedesktop.DBus.GetNameOwner", 0, service)
	err = call.Store(&b.owner)
	b.met = call.ResponseSequence
	return explain(ctx, err)
}

// Close leaves the bus, and with it every session that BlueZ keeps for us.
func (b *Bus) Close() error { return b.conn.Close() }

// A Rule says which signals to be told of.
type Rule []dbus.MatchOption

// departures are objects that go, wherever they are.
func departures() Rule { return managed("InterfacesRemoved") }

// Arrivals are objects that come, wherever they are.
func Arrivals() Rule { return managed("InterfacesAdded") }

// ArrivalsAt are interfaces that come to one object.
func ArrivalsAt(p Path) Rule {
	return append(Arrivals(), dbus.WithMatchOption("arg0path", string(p)))
}

// Changes are those of the properties of one object.
func Changes(p Path) Rule { return append(changes(), dbus.WithMatchObjectPath(p)) }

// DeviceChanges are those of the peripherals that an adapter knows.
func DeviceChanges(adapter Path) Rule {
	return append(changes(), dbus.WithMatchPathNamespace(adapter), dbus.WithMatchArg(0, deviceIface))
}

func managed(member string) Rule {
	return Rule{dbus.WithMatchSender(service), dbus.WithMatchObjectPath("/"),
		dbus.WithMatchInterface("org.freedesktop.DBus.ObjectManager"), dbus.WithMatchMember(member)}
}

func changes() Rule {
	return Rule{dbus.WithMatchSender(service),
		dbus.WithMatchInterface("org.freedesktop.DBus.Properties"), dbus.WithMatchMember("PropertiesChanged")}
}

// Watch asks for more signals and copies the tree anew, so that nothing that
// happened in between is missed.
func (b *Bus) Watch(ctx context.Context, rules ...Rule) error {
	for _, r := range rules {
		if err := b.conn.AddMatchSignalContext(ctx, r...); err != nil {
			return explain(ctx, err)
		}
	}
	return b.Refresh(ctx)
}

// Unwatch takes back what Watch asked for.
func (b *Bus) Unwatch(ctx context.Context, rules ...Rule) error {
	for _, r := range rules {
		if err := b.conn.RemoveMatchSignalContext(ctx, r...); err != nil {
			return explain(ctx, err)
		}
	}
	return nil
}

// Refresh copies the tree anew.
func (b *Bus) Refresh(ctx context.Context) error {
	call := b.call(ctx, "/", "org.freedesktop.DBus.ObjectManager.GetManagedObjects")
	tree := make(Tree)
	if err := call.Store(&tree); err != nil {
		return explain(ctx, err)
	}
	b.Tree, b.since = tree, call.ResponseSequence
	return nil
}

// call calls a method of an object of the BlueZ that we know, not of the one
// that may have taken its place.
func (b *Bus) call(ctx context.Context, p Path, method string, args ...any) *dbus.Call {
	to := b.owner
	if to == "" {
		to = service
	}
	return b.conn.Object(to, p).CallWithContext(ctx, method, 0, args...)
}

// StartDiscovery makes an adapter scan for peripherals, for as long as the Bus
// is open or until StopDiscovery.
func (b *Bus) StartDiscovery(ctx context.Context, adapter Path) error {
	filter := map[string]dbus.Variant{"Transport": dbus.MakeVariant("le")}
	if err := b.call(ctx, adapter, adapterIface+".SetDiscoveryFilter", filter).Err; err != nil {
		return explain(ctx, err)
	}
	return explain(ctx, b.call(ctx, adapter, adapterIface+".StartDiscovery").Err)
}

// StopDiscovery ends our share in a scan; that of other programs goes on.
func (b *Bus) StopDiscovery(ctx context.Context, adapter Path) error {
	return explain(ctx, b.call(ctx, adapter, adapterIface+".StopDiscovery").Err)
}

// Connect connects to a peripheral. Being connected already is no error.
func (b *Bus) Connect(ctx context.Context, device Path) error {
	err := b.call(ctx, device, deviceIface+".Connect").Err
	if answer, ok := errors.AsType[dbus.Error](err); ok && answer.Name == "org.bluez.Error.AlreadyConnected" {
		return nil
	}
	return explain(ctx, err)
}

// Disconnect ends the connection to a peripheral, or the attempt to make one.
func (b *Bus) Disconnect(ctx context.Context, device Path) error {
	return explain(ctx, b.call(ctx, device, deviceIface+".Disconnect").Err)
}

// Read asks the peripheral for a value.
func (b *Bus) Read(ctx context.Context, characteristic Path) (value []byte, err error) {
	err = b.call(ctx, characteristic, characteristicIface+".ReadValue", map[string]dbus.Variant{}).Store(&value)
	return value, explain(ctx, err)
}

// Subscribe has notifications sent as changes of the characteristic's Value,
// which Watch must have asked for.
func (b *Bus) Subscribe(ctx context.Context, characteristic Path) error {
	return explain(ctx, b.call(ctx, characteristic, characteristicIface+".StartNotify").Err)
}

// Acquire has notifications sent through a socket that keeps messages whole,
// past D-Bus. It is hung up when the peripheral is gone.
func (b *Bus) Acquire(ctx context.Context, characteristic Path) (*os.File, error) {
	if !b.conn.SupportsUnixFDs() {
		return nil, fmt.Errorf("%w: this bus passes no sockets", ErrUnsupported)
	}
	var fd dbus.UnixFD
	var mtu uint16
	call := b.call(ctx, characteristic, characteristicIface+".AcquireNotify", map[string]dbus.Variant{})
	if err := call.Store(&fd, &mtu); err != nil {
		return nil, explain(ctx, err)
	}
	return socket(int(fd))
}
