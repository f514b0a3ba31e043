package bluez

import (
	"slices"
	"strings"

	"github.com/godbus/dbus/v5"
)

// Path is the place of an object in BlueZ's tree.
type Path = dbus.ObjectPath

// properties are those of one interface of one object.
type properties = map[string]dbus.Variant

// A Tree is a copy of the objects that BlueZ exports: interfaces by path, and
// properties by interface. Values of a type that BlueZ never sends are taken as
// absent.
type Tree map[Path]map[string]properties

// The interfaces of BlueZ that we know.
const (
	adapterIface        = "org.bluez.Adapter1"
	deviceIface         = "org.bluez.Device1"
	serviceIface        = "org.bluez.GattService1"
	characteristicIface = "org.bluez.GattCharacteristic1"
	batteryIface        = "org.bluez.Battery1"
)

// An Adapter is a radio of this machine.
type Adapter struct {
	Path    Path
	ID      string // "hci0"
	Address string
	Powered bool
}

// A Device is a peripheral that BlueZ knows, in reach or not.
type Device struct {
	Path    Path
	Address string
	Name    string // as it calls itself; may be empty

	RSSI  int  // dBm; meaningful where Heard
	Heard bool // in the scan that is going on

	Connected bool
	Resolved  bool   // its services are known
	Services  []UUID // advertised, or found when it was connected
}

// A Service groups characteristics.
type Service struct {
	Path Path
	UUID UUID
}

// A Characteristic is a value that a peripheral offers.
type Characteristic struct {
	Path  Path
	UUID  UUID
	Flags []string // "notify", "read", …

	Value       []byte // as last seen; nil if never
	Acquirable  bool   // its notifications can be had through a socket
	Acquired    bool   // by some program
	Subscribing bool   // some program gets its notifications
}

// Has reports whether the characteristic has a flag.
func (c *Characteristic) Has(flag string) bool { return slices.Contains(c.Flags, flag) }

// get returns a property, or the zero value where it is absent.
func get[T any](p properties, name string) (v T, ok bool) {
	v, ok = p[name].Value().(T)
	return v, ok
}

// paths returns the objects under parent that have an interface, in order.
func (t Tree) paths(parent Path, iface string) []Path {
	var found []Path
	for path, object := range t {
		if _, ok := object[iface]; ok && strings.HasPrefix(string(path), string(parent)+"/") {
			found = append(found, path)
		}
	}
	slices.Sort(found)
	return found
}

// Adapters lists the radios by path, so hci0 comes first.
func (t Tree) Adapters() []Adapter {
	var adapters []Adapter
	for _, path := range t.paths("", adapterIface) {
		a, _ := t.Adapter(path)
		adapters = append(adapters, a)
	}
	return adapters
}

// Adapter returns the radio at path.
func (t Tree) Adapter(path Path) (Adapter, bool) {
	p, ok := t[path][adapterIface]
	a := Adapter{Path: path, ID: string(path[strings.LastIndexByte(string(path), '/')+1:])}
	a.Address, _ = get[string](p, "Address")
	a.Powered, _ = get[bool](p, "Powered")
	return a, ok
}

// Devices lists the peripherals that an adapter knows, by path.
func (t Tree) Devices(adapter Path) []Device {
	var devices []Device
	for _, path := range t.paths(adapter, deviceIface) {
		d, _ := t.Device(path)
		devices = append(devices, d)
	}
	return devices
}

// Device returns the peripheral at path.
func (t Tree) Device(path Path) (Device, bool) {
	p, ok := t[path][deviceIface]
	d := Device{Path: path}
	d.Address, _ = get[string](p, "Address")
	d.Name, _ = get[string](p, "Name")
	d.Connected, _ = get[bool](p, "Connected")
	d.Resolved, _ = get[bool](p, "ServicesResolved")
	var rssi int16
	rssi, d.Heard = get[int16](p, "RSSI")
	d.RSSI = int(rssi)
	uuids, _ := get[[]string](p, "UUIDs")
	for _, u := range uuids {
		d.Services = append(d.Services, UUID(strings.ToLower(u)))
	}
	return d, ok
}

// Services lists the services of a connected peripheral, by path.
func (t Tree) Services(device Path) []Service {
	var services []Service
	for _, path := range t.paths(device, serviceIface) {
		u, _ := get[string](t[path][serviceIface], "UUID")
		services = append(services, Service{Path: path, UUID: UUID(strings.ToLower(u))})
	}
	return services
}

// Characteristics lists the characteristics of a service, by path.
func (t Tree) Characteristics(service Path) []Characteristic {
	var list []Characteristic
	for _, path := range t.paths(service, characteristicIface) {
		p := t[path][characteristicIface]
		c := Characteristic{Path: path}
		u, _ := get[string](p, "UUID")
		c.UUID = UUID(strings.ToLower(u))
		c.Flags, _ = get[[]string](p, "Flags")
		c.Value, _ = get[[]byte](p, "Value")
		c.Acquired, c.Acquirable = get[bool](p, "NotifyAcquired")
		c.Subscribing, _ = get[bool](p, "Notifying")
		list = append(list, c)
	}
	return list
}

// Battery returns what BlueZ's own reader of the Battery Service says of a
// peripheral, in percent. While that reader runs, as it does unless switched
// off, BlueZ hides the service itself.
func (t Tree) Battery(device Path) (percent int, ok bool) {
	v, ok := get[byte](t[device][batteryIface], "Percentage")
	return int(v), ok && v <= 100
}

// Value returns the value of a characteristic as it was last seen, nil if it
// never was.
func (t Tree) Value(characteristic Path) []byte {
	v, _ := get[[]byte](t[characteristic][characteristicIface], "Value")
	return v
}
