package standin

import (
	"fmt"
	"strings"
	"sync"
	"testing"

	"github.com/godbus/dbus/v5"
)

// BlueZ is the stand-in. Its methods may be called from any goroutine.
type BlueZ struct {
	t       testing.TB
	address string

	mu       sync.Mutex // guards all below
	conn     *dbus.Conn // nil while stopped
	left     chan *dbus.Signal
	watching sync.WaitGroup
	tree     map[path]map[string]properties
	adapters []string // plugged in, "hci0"
	air      []*Peripheral
	scans    map[string]path // adapter by the program that scans
}

// Start starts a stand-in with the adapter hci0 on the bus at address. The test
// that it belongs to stops it.
func Start(t testing.TB, address string) *BlueZ {
	t.Helper()
	b := &BlueZ{t: t, address: address, adapters: []string{"hci0"}}
	b.Run()
	t.Cleanup(b.Stop)
	return b
}

// Run starts the service again after Stop, as a new program: what it knew of
// peripherals is forgotten.
func (b *BlueZ) Run() {
	b.t.Helper()
	conn, err := dbus.Connect(b.address, dbus.WithSignalHandler(dbus.NewSequentialSignalHandler()))
	if err != nil {
		b.t.Fatal(err)
	}
	left := make(chan *dbus.Signal, 64)
	conn.Signal(left)
	err = conn.AddMatchSignal(dbus.WithMatchSender("org.freedesktop.DBus"), dbus.WithMatchMember("NameOwnerChanged"), dbus.WithMatchArg(2, ""))
	if err != nil {
		b.t.Fatal(err)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.conn, b.left = conn, left
	b.tree, b.scans = make(map[path]map[string]properties), make(map[string]path)
	conn.ExportMethodTable(methods{"GetManagedObjects": b.objects}, "/", managerIface)
	for _, id := range b.adapters {
		b.exportAdapter(id)
	}
	if reply, err := conn.RequestName("org.bluez", dbus.NameFlagDoNotQueue); err != nil || reply != dbus.RequestNameReplyPrimaryOwner {
		b.t.Fatalf("asking for the name org.bluez: %v, %v", reply, err)
	}
	b.watching.Go(func() {
		for s := range left {
			var name, before, after string
			if dbus.Store(s.Body, &name, &before, &after) == nil && after == "" {
				b.forget(name)
			}
		}
	})
}

// Stop ends the service, as a crash would: nobody is told but by the bus.
func (b *BlueZ) Stop() {
	b.mu.Lock()
	if b.conn != nil {
		b.conn.Close() // first, so that nothing of what follows is told
		b.conn = nil
	}
	for _, p := range b.air {
		p.hangUp()
		p.connected = false
	}
	b.mu.Unlock()
	b.watching.Wait()
}

// Plug puts an adapter in.
func (b *BlueZ) Plug(id string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.adapters = append(b.adapters, id)
	b.exportAdapter(id)
}

// Unplug pulls an adapter out, with all that it knew.
func (b *BlueZ) Unplug(id string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.adapters = slicesWithout(b.adapters, id)
	at := adapterPath(id)
	for _, p := range b.air {
		if p.adapter == at {
			p.hangUp()
			p.connected = false
		}
	}
	for program, scanned := range b.scans {
		if scanned == at {
			delete(b.scans, program)
		}
	}
	b.remove(at)
}

// Power switches an adapter on or off.
func (b *BlueZ) Power(id string, on bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	at := adapterPath(id)
	if !on {
		for _, p := range b.air {
			if p.adapter == at {
				b.drop(p)
			}
		}
	}
	b.change(at, adapterIface, "Powered", on)
}

// Scans returns how many programs scan.
func (b *BlueZ) Scans() int {
	b.mu.Lock()
	defer b.mu.Unlock()
	return len(b.scans)
}

func adapterPath(id string) path { return path("/org/bluez/" + id) }

// exportAdapter puts an adapter onto the bus.
func (b *BlueZ) exportAdapter(id string) {
	at := adapterPath(id)
	n := strings.TrimPrefix(id, "hci")
	b.export(at, adapterIface, props("Address", fmt.Sprintf("00:00:5E:00:53:0%s", n), "Powered", true, "Discovering", false), methods{
		"SetDiscoveryFilter": func(map[string]dbus.Variant) *dbus.Error { return nil },
		"StartDiscovery": func(program dbus.Sender) *dbus.Error {
			b.mu.Lock()
			defer b.mu.Unlock()
			return b.startScan(string(program), at)
		},
		"StopDiscovery": func(program dbus.Sender) *dbus.Error {
			b.mu.Lock()
			defer b.mu.Unlock()
			if b.scans[string(program)] != at {
				return refuse("Failed", "No discovery started")
			}
			b.stopScan(string(program))
			return nil
		},
	})
}

func (b *BlueZ) startScan(program string, at path) *dbus.Error {
	if on, _ := b.tree[at][adapterIface]["Powered"].Value().(bool); !on {
		return refuse("NotReady", "Resource Not Ready")
	}
	if _, ok := b.scans[program]; ok {
		return refuse("InProgress", "Operation already in progress")
	}
	b.scans[program] = at
	b.change(at, adapterIface, "Discovering", true)
	for _, p := range b.air {
		b.hear(p)
	}
	return nil
}

// stopScan ends the share of one program; with the last, what was heard is no
// longer told.
func (b *BlueZ) stopScan(program string) {
	at := b.scans[program]
	delete(b.scans, program)
	for _, other := range b.scans {
		if other == at {
			return
		}
	}
	for _, p := range b.under(at) {
		b.invalidate(p, deviceIface, "RSSI")
	}
	b.change(at, adapterIface, "Discovering", false)
}

// forget ends all that a program began.
func (b *BlueZ) forget(program string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.conn == nil {
		return
	}
	if _, ok := b.scans[program]; ok {
		b.stopScan(program)
	}
	for _, p := range b.air {
		for _, c := range p.characteristics() {
			c.hangUp(program)
		}
	}
}

func slicesWithout(list []string, s string) (rest []string) {
	for _, e := range list {
		if e != s {
			rest = append(rest, e)
		}
	}
	return rest
}
