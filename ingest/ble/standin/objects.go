package standin

import (
	"maps"
	"slices"
	"strings"

	"github.com/godbus/dbus/v5"
)

// The interfaces that the stand-in exports.
const (
	adapterIface        = "org.bluez.Adapter1"
	deviceIface         = "org.bluez.Device1"
	serviceIface        = "org.bluez.GattService1"
	characteristicIface = "org.bluez.GattCharacteristic1"
	batteryIface        = "org.bluez.Battery1"
	managerIface        = "org.freedesktop.DBus.ObjectManager"
	propertiesIface     = "org.freedesktop.DBus.Properties"
)

type (
	path       = dbus.ObjectPath
	properties = map[string]dbus.Variant
	methods    = map[string]any
)

// props makes properties of names and values, in turn.
func props(list ...any) properties {
	p := make(properties)
	for i := 0; i < len(list); i += 2 {
		p[list[i].(string)] = dbus.MakeVariant(list[i+1])
	}
	return p
}

// export puts an interface onto the bus and tells of it. It is called with
// b.mu held, as is all that follows.
func (b *BlueZ) export(at path, iface string, p properties, m methods) {
	if b.tree[at] == nil {
		b.tree[at] = make(map[string]properties)
	}
	b.tree[at][iface] = p
	if m != nil {
		b.conn.ExportMethodTable(m, at, iface)
	}
	b.conn.Emit("/", managerIface+".InterfacesAdded", at, map[string]properties{iface: maps.Clone(p)})
}

// remove takes objects from the bus, from the given one down.
func (b *BlueZ) remove(at path) {
	for _, p := range b.under(at) {
		var ifaces []string
		for iface := range b.tree[p] {
			b.conn.ExportMethodTable(nil, p, iface)
			ifaces = append(ifaces, iface)
		}
		delete(b.tree, p)
		b.conn.Emit("/", managerIface+".InterfacesRemoved", p, ifaces)
	}
}

// under returns at and all below it that exist, the deepest first.
func (b *BlueZ) under(at path) []path {
	var found []path
	for p := range b.tree {
		if p == at || strings.HasPrefix(string(p), string(at)+"/") {
			found = append(found, p)
		}
	}
	slices.Sort(found)
	slices.Reverse(found)
	return found
}

// change sets properties and tells of it.
func (b *BlueZ) change(at path, iface string, list ...any) {
	p := b.tree[at][iface]
	if p == nil || b.conn == nil {
		return
	}
	changed := props(list...)
	maps.Copy(p, changed)
	b.conn.Emit(at, propertiesIface+".PropertiesChanged", iface, changed, []string{})
}

// invalidate takes a property away and tells of it.
func (b *BlueZ) invalidate(at path, iface, name string) {
	if _, ok := b.tree[at][iface][name]; !ok {
		return
	}
	delete(b.tree[at][iface], name)
	b.conn.Emit(at, propertiesIface+".PropertiesChanged", iface, properties{}, []string{name})
}

// objects answers GetManagedObjects.
func (b *BlueZ) objects() (map[path]map[string]properties, *dbus.Error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	copied := make(map[path]map[string]properties, len(b.tree))
	for at, object := range b.tree {
		copied[at] = make(map[string]properties, len(object))
		for iface, p := range object {
			copied[at][iface] = maps.Clone(p)
		}
	}
	return copied, nil
}

// refuse is an answer of BlueZ that says no.
func refuse(name, text string) *dbus.Error {
	return dbus.NewError("org.bluez.Error."+name, []any{text})
}
