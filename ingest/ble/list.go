package ble

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"weald/ingest/ble/bluez"
)

// A Peripheral is in reach.
type Peripheral struct {
	Adapter string // "hci0"
	Address string
	Name    string // empty if it does not tell

	// RSSI is how strongly it is heard, in dBm; 0 for one that is connected
	// and so need not be heard.
	RSSI int

	Connected bool // by this machine

	// What it says that it offers. A peripheral that says nothing may offer
	// them all the same.
	Frames   bool // ServiceUUID
	Pressure bool // the SIG's environmental sensing, which may have 0x2A6D
}

// List scans for d with every adapter that is switched on and returns the
// peripherals in reach, the strongest first, those with frames before all
// others. It returns early, with an error, when ctx ends. Its errors are those
// of Link.Open.
func List(ctx context.Context, d time.Duration) ([]Peripheral, error) {
	return Finder{}.List(ctx, d)
}

// A Finder looks for peripherals. The zero Finder does so with every adapter
// that is switched on, on the system bus.
type Finder struct {
	Adapter string // only this one, as "hci0" or by its address
	Bus     string // D-Bus address
}

// List is as the function of this name.
func (f Finder) List(ctx context.Context, d time.Duration) ([]Peripheral, error) {
	found, err := f.list(ctx, d, patience)
	if err != nil {
		return nil, fmt.Errorf("listing Bluetooth peripherals: %w", err)
	}
	return found, nil
}

func (f Finder) list(ctx context.Context, d time.Duration, l limits) ([]Peripheral, error) {
	var bus *bluez.Bus
	err := within(ctx, l.ask, errSlow, func(ctx context.Context) (err error) {
		bus, err = bluez.Dial(ctx, f.Bus)
		return err
	})
	if err != nil {
		return nil, err
	}
	defer bus.Close()
	adapters, err := f.adapters(bus.Tree)
	if err != nil {
		return nil, err
	}
	// The scans of several adapters run inside each other.
	hear := func(ctx context.Context) error { return listen(ctx, bus, l, d) }
	var found []Peripheral
	for _, a := range adapters {
		inner := hear
		hear = func(ctx context.Context) error {
			return scan(ctx, bus, a, l, func(ctx context.Context) error {
				err := inner(ctx)
				found = append(found, inReach(bus.Tree, a)...)
				return err
			})
		}
	}
	if err := hear(ctx); err != nil {
		return nil, err
	}
	slices.SortFunc(found, func(p, q Peripheral) int {
		if p.Frames != q.Frames {
			if p.Frames {
				return -1
			}
			return 1
		}
		return cmp.Or(cmp.Compare(q.RSSI, p.RSSI), cmp.Compare(p.Address, q.Address), cmp.Compare(p.Adapter, q.Adapter))
	})
	return found, nil
}

// adapters returns those to scan with.
func (f Finder) adapters(t bluez.Tree) ([]bluez.Adapter, error) {
	if f.Adapter != "" {
		a, err := pickAdapter(t, f.Adapter)
		return []bluez.Adapter{a}, err
	}
	var on []bluez.Adapter
	var errs []error
	for _, a := range t.Adapters() {
		if _, err := pickAdapter(t, a.ID); err != nil {
			errs = append(errs, err)
			continue
		}
		on = append(on, a)
	}
	switch {
	case len(on) > 0:
		return on, nil
	case len(errs) > 0:
		return nil, errors.Join(errs...)
	}
	_, err := pickAdapter(t, "")
	return nil, err
}

// inReach returns what an adapter hears or holds.
func inReach(t bluez.Tree, a bluez.Adapter) (found []Peripheral) {
	for _, d := range t.Devices(a.Path) {
		if !d.Heard && !d.Connected {
			continue // remembered from another day
		}
		found = append(found, Peripheral{
			Adapter: a.ID, Address: d.Address, Name: d.Name, RSSI: d.RSSI, Connected: d.Connected,
			Frames:   slices.Contains(d.Services, bluez.UUID(ServiceUUID)),
			Pressure: slices.Contains(d.Services, bluez.Assigned(environmentalSensing)),
		})
	}
	return found
}
