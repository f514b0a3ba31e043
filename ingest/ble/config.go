package ble

import (
	"errors"
	"fmt"
	"strings"

	"weald/ingest/ble/bluez"
)

// What a peripheral with packed frames offers, unless it is configured
// otherwise. Both were drawn at random for this project.
const (
	ServiceUUID = "079787c2-8b5b-4277-a031-88e1e02c91d1"
	FramesUUID  = "079787c3-8b5b-4277-a031-88e1e02c91d1"
)

// Numbers that the Bluetooth SIG assigned.
const (
	environmentalSensing = 0x181A
	pressureValue        = 0x2A6D
	batteryService       = 0x180F
	batteryLevel         = 0x2A19
)

// Config says which peripheral to read, and what.
type Config struct {
	// Address or Name picks the peripheral; exactly one of them is set. An
	// address is six bytes as in "C4:2D:5E:00:10:7F", in any case. A name is
	// what the peripheral calls itself, to the letter.
	Address string
	Name    string

	// Adapter is the radio to use, as "hci0" or by its address. Empty for the
	// first of the machine.
	Adapter string

	// Service and Characteristic are UUIDs: 128 bits with dashes, or an
	// assigned number such as 0x181A. Empty for ServiceUUID and FramesUUID,
	// or with Pressure for the SIG's 0x181A and 0x2A6D.
	Service        string
	Characteristic string

	// Pressure is set for a plain pressure sensor, nil for packed frames.
	Pressure *Pressure

	// Bus is the D-Bus address of the bus that BlueZ is on. Empty for the
	// system bus.
	Bus string
}

// A Problem is something wrong with one setting of a Config.
type Problem struct {
	Key  string // "address", "name", "adapter", "service", "characteristic", "pressure.is", "pressure.ambient_hpa"
	Text string // what is wrong and what would be right
}

// Error says both.
func (p *Problem) Error() string { return p.Key + ": " + p.Text }

// Problems returns everything that is wrong with c.
func (c *Config) Problems() (problems []*Problem) {
	bad := func(key, format string, args ...any) {
		problems = append(problems, &Problem{key, fmt.Sprintf(format, args...)})
	}
	switch {
	case c.Address == "" && c.Name == "":
		bad("address", "say which peripheral: an address such as C4:2D:5E:00:10:7F, or a name")
	case c.Address != "" && c.Name != "":
		bad("name", "an address is given as well; one of the two is enough")
	case c.Address != "" && !isAddress(c.Address):
		bad("address", "%q is no Bluetooth address; one looks like C4:2D:5E:00:10:7F", c.Address)
	}
	if strings.Contains(c.Adapter, "/") {
		bad("adapter", "%q is no adapter; one is called hci0", c.Adapter)
	}
	if _, err := bluez.ParseUUID(c.service()); err != nil {
		bad("service", "%v", err)
	}
	if _, err := bluez.ParseUUID(c.characteristic()); err != nil {
		bad("characteristic", "%v", err)
	}
	if c.Pressure != nil {
		problems = append(problems, c.Pressure.problems()...)
	}
	return problems
}

// service returns the UUID to look for, as it is written.
func (c *Config) service() string {
	switch {
	case c.Service != "":
		return c.Service
	case c.Pressure != nil:
		return fmt.Sprintf("%04x", environmentalSensing)
	}
	return ServiceUUID
}

func (c *Config) characteristic() string {
	switch {
	case c.Characteristic != "":
		return c.Characteristic
	case c.Pressure != nil:
		return fmt.Sprintf("%04x", pressureValue)
	}
	return FramesUUID
}

// isAddress reports whether s is six bytes in hexadecimal with colons.
func isAddress(s string) bool {
	parts := strings.Split(s, ":")
	for _, p := range parts {
		if len(p) != 2 || strings.Trim(p, "0123456789abcdefABCDEF") != "" {
			return false
		}
	}
	return len(parts) == 6
}

// New prepares a link, or returns all that is wrong with c, joined.
func New(c Config) (*Link, error) {
	var errs []error
	for _, p := range c.Problems() {
		errs = append(errs, p)
	}
	if len(errs) > 0 {
		return nil, errors.Join(errs...)
	}
	l := &Link{config: c, limits: patience}
	l.service, _ = bluez.ParseUUID(c.service()) // both were just looked at
	l.characteristic, _ = bluez.ParseUUID(c.characteristic())
	if c.Pressure != nil {
		l.encoder = newEncoder(c.Pressure)
	}
	return l, nil
}
