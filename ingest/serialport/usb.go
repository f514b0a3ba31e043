package serialport

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"go.bug.st/serial/enumerator"
)

// USB is what a USB serial device says of itself. Empty fields match anything.
type USB struct {
	Vendor, Product string // four hexadecimal digits each, in any case
	Serial          string // as the device spells it
}

// String writes u as vendor:product:serial with a * for what is not asked for.
func (u USB) String() string {
	part := func(s string) string {
		if s == "" {
			return "*"
		}
		return s
	}
	return "usb:" + part(u.Vendor) + ":" + part(u.Product) + ":" + part(u.Serial)
}

// matches reports whether p is such a device.
func (u USB) matches(p Port) bool {
	return p.Vendor != "" &&
		(u.Vendor == "" || strings.EqualFold(u.Vendor, p.Vendor)) &&
		(u.Product == "" || strings.EqualFold(u.Product, p.Product)) &&
		(u.Serial == "" || u.Serial == p.Serial)
}

// find returns the path of the one port that matches.
func (u USB) find() (string, error) {
	ports, err := Ports()
	if err != nil {
		return "", err
	}
	return u.pick(ports)
}

// pick refuses to choose among several: the wrong one would put one person's
// readings in another's bed.
func (u USB) pick(ports []Port) (string, error) {
	var paths []string
	for _, p := range ports {
		if u.matches(p) {
			paths = append(paths, p.Path)
		}
	}
	switch len(paths) {
	case 0:
		return "", fmt.Errorf("no such port: %v; %w", u, ErrNoPort)
	case 1:
		return paths[0], nil
	}
	return "", fmt.Errorf("%v fits more than one port (%s): name its serial number or its path", u, strings.Join(paths, ", "))
}

// A Port is a serial port of this machine.
type Port struct {
	Path   string
	Stable string // a path that survives replugging; empty if there is none

	// What a USB device says of itself; empty for other ports.
	Vendor, Product, Serial, Label string
}

// Ports lists the serial ports of this machine by path.
func Ports() ([]Port, error) {
	found, err := enumerator.GetDetailedPortsList()
	if err != nil {
		return nil, fmt.Errorf("listing serial ports: %w", err)
	}
	stable := stablePaths("/dev/serial/by-id")
	ports := make([]Port, 0, len(found))
	for _, d := range found {
		if d.Name == "" {
			continue // a driver that does not say what it is
		}
		p := Port{Path: d.Name, Stable: stable[d.Name]}
		if d.IsUSB {
			p.Vendor, p.Product = strings.ToLower(d.VID), strings.ToLower(d.PID)
			p.Serial, p.Label = d.SerialNumber, d.Product
		}
		ports = append(ports, p)
	}
	slices.SortFunc(ports, func(a, b Port) int { return strings.Compare(a.Path, b.Path) })
	return ports, nil
}

// stablePaths maps devices to the links in dir that lead to them.
func stablePaths(dir string) map[string]string {
	links, _ := filepath.Glob(filepath.Join(dir, "*")) // errs on a bad pattern only
	paths := make(map[string]string, len(links))
	for _, l := range links {
		if to, err := os.Readlink(l); err == nil {
			paths[filepath.Clean(filepath.Join(dir, to))] = l
		}
	}
	return paths
}
