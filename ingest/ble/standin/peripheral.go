package standin

import (
	"fmt"
	"strings"

	"github.com/godbus/dbus/v5"
)

// A Peripheral is something with a radio. Its fields are set before Add and
// left alone afterwards.
type Peripheral struct {
	Address    string
	Name       string
	RSSI       int16
	Advertises []string // UUIDs
	Services   []*Service

	// Battery is what BlueZ's own reader of the Battery Service tells, in
	// percent; 0 where that reader is off.
	Battery byte

	// Refuse is how Connect fails: the last word of a BlueZ error and its text,
	// as in "Failed le-connection-abort-by-local". Empty: it does not.
	Refuse string

	// Stalls is what the peripheral does not get done: "connect" or "services".
	// Disconnect ends the wait for it.
	Stalls string

	b         *BlueZ
	pending   chan struct{} // closed when a stalled Connect is called off
	adapter   path          // that holds it
	connected bool
	away      bool
}

// A Service has characteristics.
type Service struct {
	UUID            string
	Characteristics []*Characteristic
}

// A Characteristic is what can be read and notified.
type Characteristic struct {
	UUID  string
	Flags []string
	Value []byte

	// Acquire says that notifications can be had through a socket.
	Acquire bool

	// Refuse is how asking for notifications fails, as Peripheral.Refuse.
	Refuse string

	p         *Peripheral
	at        path
	listeners map[string]bool // programs that get notifications as signals
	acquired  *acquired       // nil if none
}

// Add puts a peripheral into the air.
func (b *BlueZ) Add(p *Peripheral) *Peripheral {
	b.mu.Lock()
	defer b.mu.Unlock()
	p.b = b
	for _, s := range p.Services {
		for _, c := range s.Characteristics {
			c.p, c.listeners = p, make(map[string]bool)
		}
	}
	b.air = append(b.air, p)
	b.hear(p)
	return p
}

// Drop ends the connection from the peripheral's side.
func (p *Peripheral) Drop() {
	p.b.mu.Lock()
	defer p.b.mu.Unlock()
	p.b.drop(p)
}

// Away takes the peripheral out of reach, or brings it back. BlueZ goes on
// knowing it.
func (p *Peripheral) Away(away bool) {
	p.b.mu.Lock()
	defer p.b.mu.Unlock()
	p.away = away
	if away {
		p.b.drop(p)
		p.b.invalidate(p.at(), deviceIface, "RSSI")
	} else {
		p.b.hear(p)
	}
}

// Remember makes BlueZ know the peripheral without hearing it now, as after a
// scan of yesterday.
func (p *Peripheral) Remember() {
	p.b.mu.Lock()
	defer p.b.mu.Unlock()
	p.b.know(p, adapterPath("hci0"))
}

// Connected reports whether the peripheral is connected.
func (p *Peripheral) Connected() bool {
	p.b.mu.Lock()
	defer p.b.mu.Unlock()
	return p.connected
}

// SetBattery changes what BlueZ's own reader tells.
func (p *Peripheral) SetBattery(percent byte) {
	p.b.mu.Lock()
	defer p.b.mu.Unlock()
	p.Battery = percent
	p.b.change(p.at(), batteryIface, "Percentage", percent)
}

func (p *Peripheral) at() path {
	return p.adapter + "/dev_" + path(strings.ReplaceAll(p.Address, ":", "_"))
}

func (p *Peripheral) characteristics() (list []*Characteristic) {
	for _, s := range p.Services {
		list = append(list, s.Characteristics...)
	}
	return list
}

// hear makes a peripheral known to an adapter that scans. It is called with
// b.mu held, as is all that follows.
func (b *BlueZ) hear(p *Peripheral) {
	if p.away || b.conn == nil {
		return
	}
	for _, adapter := range b.scans {
		b.know(p, adapter)
		b.change(p.at(), deviceIface, "RSSI", p.RSSI)
		// The name comes with a later packet than the address.
		b.change(p.at(), deviceIface, "Name", p.Name)
		return
	}
}

// know gives a peripheral an object of an adapter, unless it has one.
func (b *BlueZ) know(p *Peripheral, adapter path) {
	if b.tree[p.at()] != nil {
		return
	}
	p.adapter = adapter
	known := props("Address", p.Address, "Adapter", adapter, "Connected", false, "ServicesResolved", false, "UUIDs", p.Advertises)
	if len(b.scans) == 0 {
		known["Name"] = dbus.MakeVariant(p.Name)
	}
	b.export(p.at(), deviceIface, known, methods{
		"Connect":    p.connect,
		"Disconnect": p.disconnect,
	})
}

// connect answers Connect. Like BlueZ it answers before the services are known.
func (p *Peripheral) connect() *dbus.Error {
	b := p.b
	b.mu.Lock()
	if p.Stalls == "connect" {
		off := make(chan struct{})
		p.pending = off
		b.mu.Unlock()
		<-off
		return refuse("Failed", "le-connection-abort-by-local")
	}
	defer b.mu.Unlock()
	switch name, text, _ := strings.Cut(p.Refuse, " "); {
	case p.Refuse != "":
		return refuse(name, text)
	case p.away:
		return refuse("Failed", "le-connection-abort-by-local")
	case p.connected:
		return refuse("AlreadyConnected", "Already Connected")
	}
	p.connected = true
	at := p.at()
	b.change(at, deviceIface, "Connected", true)
	b.watching.Go(func() {
		b.mu.Lock()
		defer b.mu.Unlock()
		if b.conn == nil || !p.connected {
			return
		}
		for i, s := range p.Services {
			service := at + path(fmt.Sprintf("/service%04x", 16*i+1))
			b.export(service, serviceIface, props("UUID", s.UUID, "Primary", true, "Device", at), nil)
			for j, c := range s.Characteristics {
				b.exportCharacteristic(c, service, j)
			}
		}
		if p.Battery > 0 {
			b.export(at, batteryIface, props("Percentage", p.Battery), nil)
		}
		if p.Stalls != "services" {
			b.change(at, deviceIface, "ServicesResolved", true)
		}
	})
	return nil
}

func (p *Peripheral) disconnect() *dbus.Error {
	p.b.mu.Lock()
	defer p.b.mu.Unlock()
	if p.pending != nil {
		p.callOff()
		return nil
	}
	if !p.connected {
		return refuse("NotConnected", "Not Connected")
	}
	p.b.drop(p)
	return nil
}

// drop ends a connection, whoever wants it.
func (b *BlueZ) drop(p *Peripheral) {
	if !p.connected || b.conn == nil {
		return
	}
	p.connected = false
	p.hangUp()
	for _, at := range b.under(p.at()) {
		if at != p.at() {
			b.remove(at)
		}
	}
	b.change(p.at(), deviceIface, "ServicesResolved", false)
	b.change(p.at(), deviceIface, "Connected", false)
}

// callOff ends a stalled Connect.
func (p *Peripheral) callOff() {
	if p.pending != nil {
		close(p.pending)
		p.pending = nil
	}
}

// Pending reports whether an attempt to connect is going on.
func (p *Peripheral) Pending() bool {
	p.b.mu.Lock()
	defer p.b.mu.Unlock()
	return p.pending != nil
}

// hangUp ends all subscriptions, and a stalled Connect.
func (p *Peripheral) hangUp() {
	p.callOff()
	for _, c := range p.characteristics() {
		c.hangUp("")
	}
}
