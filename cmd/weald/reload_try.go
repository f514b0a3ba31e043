package main

import (
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"

	"weald/config"
	"weald/ingest/tcp/wire"
)

// tryOut opens what a configuration needs of this machine and the one in force has not:
// ports, certificates, folders. A start goes on without and tries again; a reload has
// something that works, and leaves it alone. Devices and others' servers are not asked,
// as they may come later. Its error has all that is wrong.
func (d *daemon) tryOut(old, c *config.Config) error {
	had := map[string]bool{} // ports, which are free once the former configuration ends
	for _, address := range listens(old) {
		had[portOf(address)] = true
	}
	var all []error
	wants := listens(c)
	for _, whose := range slices.Sorted(maps.Keys(wants)) {
		address := wants[whose]
		if had[portOf(address)] {
			continue
		}
		l, err := wire.Listen(d.ctx, address)
		if err != nil {
			all = append(all, fmt.Errorf("%s: %s: %w", c.Path, whose, err))
			continue
		}
		l.Close()
	}
	if c.MQTT != nil && !sameListener(old, c) {
		all = append(all, readable(c, mqttListener, c.MQTT.TLS))
	}
	for i := range c.Bridges {
		b := &c.Bridges[i]
		if r := d.lines[b.ID]; r != nil && sameBridge(&r.spec, b) {
			continue
		}
		if b.Link.Listen != nil {
			all = append(all, readable(c, "bridge "+b.ID, b.Link.Listen.TLS))
		}
		if b.Capture != "" {
			all = append(all, writable(c, "bridge "+b.ID+": its capture", filepath.Dir(b.Capture)))
		}
	}
	return errors.Join(all...)
}

const mqttListener = "the daemon's MQTT listener"

// listens are the ports of a configuration that others connect to, but for the pages'.
func listens(c *config.Config) map[string]string {
	out := map[string]string{}
	if c.MQTT != nil {
		out[mqttListener] = c.MQTT.Listen
	}
	for i := range c.Bridges {
		if l := c.Bridges[i].Link.Listen; l != nil {
			out["bridge "+c.Bridges[i].ID] = l.Address
		}
	}
	return out
}

// readable tries the files of a side that listens; nil is one without TLS.
func readable(c *config.Config, whose string, s *wire.ServerTLS) error {
	if s == nil {
		return nil
	}
	if _, err := s.Config(nil); err != nil {
		return fmt.Errorf("%s: %s: %w", c.Path, whose, err)
	}
	return nil
}

// writable tries to make a file in a folder.
func writable(c *config.Config, what, dir string) error {
	f, err := os.CreateTemp(dir, ".weald-*")
	if err != nil {
		return fmt.Errorf("%s: %s: no file can be made in its folder: %w", c.Path, what, err)
	}
	return errors.Join(f.Close(), os.Remove(f.Name()))
}
