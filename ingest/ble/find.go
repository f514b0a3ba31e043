package ble

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"weald/ingest/ble/bluez"
)

// pickAdapter returns the adapter with an ID or an address, or the first.
func pickAdapter(t bluez.Tree, which string) (bluez.Adapter, error) {
	adapters := t.Adapters()
	if len(adapters) == 0 {
		return bluez.Adapter{}, fmt.Errorf("%w: this machine has none", ErrNoAdapter)
	}
	var ids []string
	for _, a := range adapters {
		if which == "" || which == a.ID || strings.EqualFold(which, a.Address) {
			if !a.Powered {
				return a, fmt.Errorf("%s: %w", a.ID, bluez.ErrOff)
			}
			return a, nil
		}
		ids = append(ids, a.ID)
	}
	return bluez.Adapter{}, fmt.Errorf("%w: %s; there is %s", ErrNoAdapter, which, strings.Join(ids, ", "))
}

// find returns the configured peripheral. One with a known address needs no
// scan, as BlueZ finds it when it connects. A name is not so sure: BlueZ
// remembers peripherals that were here once, and another may have taken the
// name. So unless it is connected, it has to be heard.
func (l *Link) find(ctx context.Context, bus *bluez.Bus, a bluez.Adapter) (bluez.Device, error) {
	known := l.matches(bus.Tree, a.Path, func(d bluez.Device) bool {
		return l.config.Address != "" || d.Connected
	})
	if len(known) > 0 {
		return l.only(known)
	}
	heard := func(d bluez.Device) bool { return d.Heard || d.Connected }
	err := scan(ctx, bus, a, l.limits, func(ctx context.Context) error {
		late := fmt.Errorf("%w (%s listened for %v)", ErrNotFound, a.ID, l.limits.scan)
		err := within(ctx, l.limits.scan, late, func(ctx context.Context) error {
			return bus.Await(ctx, func(t bluez.Tree) (bool, error) {
				if a, ok := t.Adapter(a.Path); !ok || !a.Powered {
					return false, ErrAdapterGone
				}
				return len(l.matches(t, a.Path, heard)) > 0, nil
			})
		})
		if err == nil && l.config.Name != "" {
			err = listen(ctx, bus, l.limits, l.limits.settle) // for another of that name
		}
		known = l.matches(bus.Tree, a.Path, heard) // before the scan ends, and with it what is heard
		return err
	})
	if err != nil {
		return bluez.Device{}, err
	}
	return l.only(known)
}

// matches returns the peripherals that have the configured address or name and
// fit.
func (l *Link) matches(t bluez.Tree, adapter bluez.Path, fit func(bluez.Device) bool) []bluez.Device {
	return slices.DeleteFunc(t.Devices(adapter), func(d bluez.Device) bool {
		named := l.config.Name != "" && d.Name == l.config.Name ||
			l.config.Address != "" && strings.EqualFold(d.Address, l.config.Address)
		return !named || !fit(d)
	})
}

// only refuses to choose among several: the wrong one would put one person's
// readings in another's bed.
func (l *Link) only(found []bluez.Device) (bluez.Device, error) {
	switch len(found) {
	case 0:
		return bluez.Device{}, ErrNotFound // went while we listened
	case 1:
		return found[0], nil
	}
	var addresses []string
	for _, d := range found {
		addresses = append(addresses, d.Address)
	}
	return bluez.Device{}, fmt.Errorf("several peripherals have this name (%s): configure the address of the right one", strings.Join(addresses, ", "))
}

// scan has an adapter scan while body runs.
func scan(ctx context.Context, bus *bluez.Bus, a bluez.Adapter, l limits, body func(context.Context) error) error {
	rules := []bluez.Rule{bluez.Changes(a.Path), bluez.Arrivals(), bluez.DeviceChanges(a.Path)}
	err := within(ctx, l.ask, errSlow, func(ctx context.Context) error {
		if err := bus.Watch(ctx, rules...); err != nil {
			return err
		}
		return bus.StartDiscovery(ctx, a.Path)
	})
	if err != nil {
		return fmt.Errorf("scanning with %s: %w", a.ID, err)
	}
	if err := body(ctx); err != nil {
		return err // the bus is closed next, which ends the scan
	}
	return within(ctx, l.ask, errSlow, func(ctx context.Context) error {
		if err := bus.StopDiscovery(ctx, a.Path); err != nil {
			return err
		}
		return bus.Unwatch(ctx, rules...)
	})
}

// listen applies what happens during d, to the last.
func listen(ctx context.Context, bus *bluez.Bus, l limits, d time.Duration) error {
	enough := errors.New("listened long enough")
	err := within(ctx, d, enough, func(ctx context.Context) error {
		return bus.Await(ctx, func(bluez.Tree) (bool, error) { return false, nil })
	})
	if err != enough {
		return err
	}
	return within(ctx, l.ask, errSlow, bus.Refresh)
}

// pickCharacteristic returns what to read of a connected peripheral.
func pickCharacteristic(t bluez.Tree, device bluez.Path, service, characteristic bluez.UUID) (bluez.Characteristic, error) {
	var offered, has []string
	found := false
	for _, s := range t.Services(device) {
		offered = append(offered, s.UUID.String())
		if s.UUID != service {
			continue
		}
		found = true
		for _, c := range t.Characteristics(s.Path) {
			if c.UUID != characteristic {
				has = append(has, c.UUID.String())
				continue
			}
			if !c.Has("notify") && !c.Has("indicate") {
				return c, fmt.Errorf("characteristic %s sends no notifications (it can %s)", c.UUID, orNothing(c.Flags))
			}
			return c, nil
		}
	}
	if found {
		return bluez.Characteristic{}, fmt.Errorf("%w with characteristic %s; service %s has %s", ErrNoService, characteristic, service, orNothing(has))
	}
	return bluez.Characteristic{}, fmt.Errorf("%w: %s; it offers %s", ErrNoService, service, orNothing(offered))
}

func orNothing(list []string) string {
	if len(list) == 0 {
		return "nothing"
	}
	return strings.Join(list, ", ")
}
