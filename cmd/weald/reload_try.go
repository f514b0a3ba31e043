package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"slices"

	"weald/config"
	"weald/ingest"
	"weald/ingest/sample"
	"weald/ingest/tcp/wire"
)

// prepare finds out whether a configuration could be put into force in the place of another
// one, and makes the MQTT listener that it needs, which may be that of the other.
func prepare(ctx context.Context, old, c *config.Config, broker *listener, now func() sample.Instant, speed float64, log *slog.Logger) (*listener, error) {
	if err := fixed(old, c); err != nil {
		return nil, err
	}
	if _, err := convertersOf(c); err != nil {
		return nil, err
	}
	if elsewhereRead(c) { // ports and files of bridges are another machine's
		return broker, nil
	}
	if err := tryOut(ctx, old, c); err != nil {
		return nil, err
	}
	if !sameListener(old, c) {
		var err error
		if broker, err = newListener(c, now, log); err != nil {
			return nil, err
		}
	}
	all := membersOf(c.Plan())
	for i := range c.Bridges {
		b := &c.Bridges[i]
		if stays(old, c, b.ID) {
			continue
		}
		w, err := wayOf(b, broker, speed, log)
		if err != nil {
			return nil, err
		}
		if _, err := ingest.New(all.bridge(b, w.link), ingest.Options{Now: now, Out: func(*sample.Scan) {}}); err != nil {
			return nil, err
		}
	}
	return broker, nil
}

// tryOut opens what a configuration needs of this machine and the one in force has not:
// ports, certificates, folders. A start goes on without and tries again; a reload has
// something that works, and leaves it alone. Devices and others' servers are not asked,
// as they may come later. Its error has all that is wrong.
func tryOut(ctx context.Context, old, c *config.Config) error {
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
		l, err := wire.Listen(ctx, address)
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
		if was := bridgeNamed(old, b.ID); was != nil && sameBridge(was, b) {
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

// fixed says what a configuration changes that only a restart can change.
func fixed(old, c *config.Config) error {
	var all []error
	for _, s := range []struct {
		key     string
		was, is any
	}{
		{"data", old.Data, c.Data}, {"web.listen", old.Listen, c.Listen}, {"web.accounts", old.Accounts, c.Accounts},
		{"web.tls", old.TLS, c.TLS}, {"cluster", old.Cluster, c.Cluster}, {"web.names", old.Names, c.Names},
		{"web.session.idle", old.Idle, c.Idle}, {"web.session.longest", old.Longest, c.Longest},
	} {
		if !reflect.DeepEqual(s.was, s.is) {
			all = append(all, fmt.Errorf("%s: %s is %v in force and %v in the file: %w", c.Path, s.key, s.was, s.is, errFixed))
		}
	}
	return errors.Join(all...)
}

// sameBridge reports whether two settings are the same but for the places of their
// sources among all.
func sameBridge(a, b *config.Bridge) bool {
	bare := func(b config.Bridge) config.Bridge {
		b.Sources = append([]config.Source{}, b.Sources...)
		for i := range b.Sources {
			b.Sources[i].Index = 0
		}
		return b
	}
	return reflect.DeepEqual(bare(*a), bare(*b))
}

// stays reports whether a bridge goes on as it is when one configuration follows another.
func stays(old, c *config.Config, id string) bool {
	was, is := bridgeNamed(old, id), bridgeNamed(c, id)
	return was != nil && is != nil && sameBridge(was, is) && (is.Link.Client == nil || sameListener(old, c))
}

func bridgeNamed(c *config.Config, id string) *config.Bridge {
	for i := range c.Bridges {
		if c.Bridges[i].ID == id {
			return &c.Bridges[i]
		}
	}
	return nil
}

// sameListener reports whether two configurations have the same MQTT listener, and the
// same bridges that connect to it.
func sameListener(a, b *config.Config) bool {
	clients := func(c *config.Config) map[string]config.Client {
		all := map[string]config.Client{}
		for i := range c.Bridges {
			if l := c.Bridges[i].Link.Client; l != nil {
				all[c.Bridges[i].ID] = *l
			}
		}
		return all
	}
	return reflect.DeepEqual(a.MQTT, b.MQTT) && reflect.DeepEqual(clients(a), clients(b))
}
