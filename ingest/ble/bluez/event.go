package bluez

import (
	"context"
	"maps"

	"github.com/godbus/dbus/v5"
)

// An Event is one signal of BlueZ.
type Event struct {
	Path Path // of the object that it is about

	// Value is what a characteristic notified; nil for everything else.
	Value []byte
}

// Next waits for the next event and applies it to the tree. It returns
// ErrStopped when BlueZ went, ErrBusLost when the bus did or Close was called,
// and the cause of ctx when that ended.
func (b *Bus) Next(ctx context.Context) (Event, error) {
	for {
		select {
		case <-ctx.Done():
			return Event{}, context.Cause(ctx)
		case s, ok := <-b.signals:
			if !ok {
				return Event{}, ErrBusLost
			}
			if b.left(s) {
				return Event{}, ErrStopped
			}
			// What was sent before the tree was copied is in it already. And
			// signals can be sent to us by anyone on the bus.
			if s.Sequence <= b.since || s.Sender != b.owner {
				continue
			}
			if e, ok := b.Tree.apply(s); ok {
				return e, nil
			}
		}
	}
}

// Await takes events until done says that it is so, or why it can never be.
func (b *Bus) Await(ctx context.Context, done func(Tree) (bool, error)) error {
	for {
		if ok, err := done(b.Tree); ok || err != nil {
			return err
		}
		if _, err := b.Next(ctx); err != nil {
			return err
		}
	}
}

// left reports whether s says that the BlueZ we talk to is no more.
func (b *Bus) left(s *dbus.Signal) bool {
	var name, before, after string
	if s.Sender != "org.freedesktop.DBus" || s.Name != "org.freedesktop.DBus.NameOwnerChanged" ||
		s.Sequence <= b.met || dbus.Store(s.Body, &name, &before, &after) != nil {
		return false
	}
	return name == service && after != b.owner
}

// apply changes t as s says. It reports whether s has such a meaning.
func (t Tree) apply(s *dbus.Signal) (Event, bool) {
	switch s.Name {
	case "org.freedesktop.DBus.ObjectManager.InterfacesAdded":
		var path Path
		var added map[string]properties
		if dbus.Store(s.Body, &path, &added) != nil {
			return Event{}, false
		}
		if t[path] == nil {
			t[path] = make(map[string]properties)
		}
		maps.Copy(t[path], added)
		return Event{Path: path}, true

	case "org.freedesktop.DBus.ObjectManager.InterfacesRemoved":
		var path Path
		var removed []string
		if dbus.Store(s.Body, &path, &removed) != nil {
			return Event{}, false
		}
		for _, iface := range removed {
			delete(t[path], iface)
		}
		if len(t[path]) == 0 {
			delete(t, path)
		}
		return Event{Path: path}, true

	case "org.freedesktop.DBus.Properties.PropertiesChanged":
		var iface string
		var changed properties
		var invalid []string
		if dbus.Store(s.Body, &iface, &changed, &invalid) != nil || t[s.Path] == nil {
			return Event{}, false
		}
		if t[s.Path][iface] == nil {
			t[s.Path][iface] = make(properties)
		}
		maps.Copy(t[s.Path][iface], changed)
		for _, name := range invalid {
			delete(t[s.Path][iface], name)
		}
		e := Event{Path: s.Path}
		if iface == characteristicIface {
			e.Value, _ = get[[]byte](changed, "Value")
		}
		return e, true
	}
	return Event{}, false
}
