package main

import (
	"fmt"
	"log/slog"

	"weald/config"
	"weald/ingest"
	"weald/ingest/ble"
	"weald/ingest/calib"
	"weald/ingest/filelink"
	"weald/ingest/mqtt"
	"weald/ingest/serialport"
	"weald/ingest/tcp"
	"weald/webui/api"
)

// bridgeOf turns what the configuration says of a bridge into what ingest runs.
// A nil link is for recordings, which are played without one.
func bridgeOf(c *config.Config, b *config.Bridge, link ingest.Link) ingest.Bridge {
	out := ingest.Bridge{ID: b.ID, Link: link, Capture: b.Capture, Format: formatOf(b)}
	plan := c.Plan()
	all := membersOf(plan)
	for i := range b.Sources {
		s := &b.Sources[i]
		unit := calib.Counts
		if s.Unit == config.MMHg {
			unit = calib.MMHg
		}
		out.Sources = append(out.Sources, ingest.Source{
			Number: s.Number, ID: s.ID, Index: s.Index,
			Channels: s.Channels, Rate: s.Rate, StaleAfter: s.StaleAfter,
			Unit: unit, Calibration: s.Lines, SaturatesAt: s.SaturatesAt, BatteryEmptyMV: s.BatteryEmptyMV,
		})
		all.lay(&out.Sources[i], plan)
	}
	return out
}

func formatOf(b *config.Bridge) ingest.Format {
	f := ingest.Format{Kind: ingest.Kind(b.Format)}
	if b.Delimited != nil {
		f.Delimited = *b.Delimited
	}
	return f
}

// A way is a bridge's link, and what can be asked about it besides.
type way struct {
	link     ingest.Link
	messages func() *api.Messages // nil for links that bring no messages
	listener *listener            // that its client connects to; nil for other links
}

// A running bridge is its supervisor and its way.
type running struct {
	*ingest.Supervisor
	way
}

// Status is the supervisor's, except that a listener which is closed is why
// nothing arrives.
func (r *running) Status() ingest.Status {
	s := r.Supervisor.Status()
	if r.listener != nil {
		if words, since := r.listener.trouble(); words != "" {
			s.Trouble, s.TroubleSince = words, since
		}
	}
	return s
}

// counts returns what became of the bridge's messages; nil where it has none.
func (r *running) counts() *api.Messages {
	if r.messages == nil {
		return nil
	}
	return r.messages()
}

// wayOf makes the link of a bridge. Own is the daemon's own MQTT listener, nil
// if it has none.
func wayOf(b *config.Bridge, own *listener, speed float64, log *slog.Logger) (way, error) {
	switch l := b.Link; {
	case l.File != nil:
		return way{link: filelink.Link{Path: l.File.Path, Fast: l.File.Fast, Decoder: formatOf(b).Decoder, Speed: speed}}, nil
	case l.Serial != nil:
		return way{link: serialOf(l.Serial)}, nil
	case l.Dial != nil:
		return way{link: &tcp.Dial{Address: l.Dial.Address, TLS: l.Dial.TLS, Idle: l.Dial.Idle}}, nil
	case l.Listen != nil:
		return way{link: &tcp.Listen{
			Address: l.Listen.Address, TLS: l.Listen.TLS, Idle: l.Listen.Idle, Quiet: l.Listen.Quiet, Log: log,
		}}, nil
	case l.MQTT != nil:
		return mqttOf(l.MQTT, b.ID), nil
	case l.Client != nil:
		return own.way(b.ID), nil
	case l.BLE != nil:
		link, err := ble.New(*l.BLE)
		if err != nil {
			return way{}, fmt.Errorf("bridge %s: %w", b.ID, err)
		}
		return way{link: link}, nil
	}
	return way{}, fmt.Errorf("bridge %s has no link", b.ID)
}

func serialOf(s *config.Serial) ingest.Link {
	link := serialport.Link{Path: s.Port, Baud: s.Baud}
	if s.USB != nil {
		link.USB = serialport.USB{Vendor: s.USB.Vendor, Product: s.USB.Product, Serial: s.USB.Serial}
	}
	return link
}

func mqttOf(m *config.MQTT, bridge string) way {
	link := &mqtt.Link{
		Broker: m.Broker, Bridge: bridge, ClientID: m.ClientID, User: m.User, PasswordFile: m.PasswordFile,
		TLS: m.TLS, Version: m.Version, Expiry: m.KeepFor,
	}
	return way{link: link, messages: func() *api.Messages {
		c := link.Counts()
		return &api.Messages{
			Offered: c.Messages, Duplicates: c.Duplicates,
			Dropped: map[string]uint64{"retained": c.Retained, "oversized": c.Oversized, "strange": c.Strange},
		}
	}}
}
