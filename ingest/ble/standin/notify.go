package standin

import (
	"fmt"
	"os"
	"strings"

	"github.com/godbus/dbus/v5"
	"golang.org/x/sys/unix"
)

// acquired is a socket for notifications that a program has the other end of.
type acquired struct {
	program string
	ours    *os.File
	theirs  int // kept, as the library does not tell when it was sent
}

func (a *acquired) close() {
	a.ours.Close()
	unix.Close(a.theirs)
}

// hangUp ends all subscriptions, or those of one program. It is called with
// b.mu held.
func (c *Characteristic) hangUp(program string) {
	if a := c.acquired; a != nil && (program == "" || a.program == program) {
		a.close()
		c.acquired = nil
		c.p.b.change(c.at, characteristicIface, "NotifyAcquired", false)
	}
	if program == "" {
		clear(c.listeners)
	} else {
		delete(c.listeners, program)
	}
}

// exportCharacteristic puts a characteristic onto the bus.
func (b *BlueZ) exportCharacteristic(c *Characteristic, service path, n int) {
	c.at = service + path(fmt.Sprintf("/char%04x", 2*n+2))
	p := props("UUID", c.UUID, "Service", service, "Flags", c.Flags, "Notifying", false)
	if c.Acquire {
		p["NotifyAcquired"] = dbus.MakeVariant(false)
	}
	b.export(c.at, characteristicIface, p, methods{
		"ReadValue":     c.read,
		"StartNotify":   c.start,
		"StopNotify":    c.stop,
		"AcquireNotify": c.acquire,
	})
}

// Notify sends a value to whoever asked for notifications, and reports whether
// anyone did. Unlike a radio it waits rather than drop it.
func (c *Characteristic) Notify(value []byte) bool {
	b := c.p.b
	b.mu.Lock()
	a, heard := c.acquired, false
	if b.conn != nil && c.p.connected && len(c.listeners) > 0 {
		b.change(c.at, characteristicIface, "Value", value)
		heard = true
	}
	b.mu.Unlock()
	if a != nil {
		_, err := a.ours.Write(value)
		heard = heard || err == nil
	}
	return heard
}

// Listeners returns how many programs get notifications.
func (c *Characteristic) Listeners() int {
	c.p.b.mu.Lock()
	defer c.p.b.mu.Unlock()
	n := len(c.listeners)
	if c.acquired != nil {
		n++
	}
	return n
}

func (c *Characteristic) has(flag string) bool {
	return strings.Contains(" "+strings.Join(c.Flags, " ")+" ", " "+flag+" ")
}

// refuses returns the answer to a wish for notifications, nil for yes.
func (c *Characteristic) refuses() *dbus.Error {
	name, text, _ := strings.Cut(c.Refuse, " ")
	switch {
	case c.Refuse != "":
		return refuse(name, text)
	case !c.p.connected:
		return refuse("Failed", "Not connected")
	case c.acquired != nil:
		return refuse("NotPermitted", "Notify acquired")
	case !c.has("notify") && !c.has("indicate"):
		return refuse("NotSupported", "Operation is not supported")
	}
	return nil
}

func (c *Characteristic) read(map[string]dbus.Variant) ([]byte, *dbus.Error) {
	b := c.p.b
	b.mu.Lock()
	defer b.mu.Unlock()
	if !c.has("read") {
		return nil, refuse("NotPermitted", "Read not permitted")
	}
	b.change(c.at, characteristicIface, "Value", c.Value)
	return c.Value, nil
}

func (c *Characteristic) start(program dbus.Sender) *dbus.Error {
	b := c.p.b
	b.mu.Lock()
	defer b.mu.Unlock()
	if err := c.refuses(); err != nil {
		return err
	}
	if c.listeners[string(program)] {
		return refuse("InProgress", "Operation already in progress")
	}
	c.listeners[string(program)] = true
	b.change(c.at, characteristicIface, "Notifying", true)
	return nil
}

func (c *Characteristic) stop(program dbus.Sender) *dbus.Error {
	b := c.p.b
	b.mu.Lock()
	defer b.mu.Unlock()
	if !c.listeners[string(program)] {
		return refuse("Failed", "No notify session started")
	}
	delete(c.listeners, string(program))
	b.change(c.at, characteristicIface, "Notifying", len(c.listeners) > 0)
	return nil
}

func (c *Characteristic) acquire(program dbus.Sender, _ map[string]dbus.Variant) (dbus.UnixFD, uint16, *dbus.Error) {
	b := c.p.b
	b.mu.Lock()
	defer b.mu.Unlock()
	if err := c.refuses(); err != nil {
		return 0, 0, err
	}
	if len(c.listeners) > 0 {
		return 0, 0, refuse("InProgress", "Operation already in progress")
	}
	if !c.Acquire || !c.has("notify") {
		return 0, 0, refuse("NotSupported", "Operation is not supported")
	}
	ends, err := unix.Socketpair(unix.AF_UNIX, unix.SOCK_SEQPACKET, 0)
	if err != nil {
		return 0, 0, refuse("Failed", err.Error())
	}
	unix.CloseOnExec(ends[0])
	unix.CloseOnExec(ends[1])
	if err := unix.SetNonblock(ends[0], true); err != nil { // so that Close ends a Write
		return 0, 0, refuse("Failed", err.Error())
	}
	c.acquired = &acquired{program: string(program), ours: os.NewFile(uintptr(ends[0]), "notify"), theirs: ends[1]}
	b.change(c.at, characteristicIface, "NotifyAcquired", true)
	return dbus.UnixFD(ends[1]), 247, nil
}
