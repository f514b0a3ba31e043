package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"golang.org/x/sync/errgroup"

	"weald/config"
	"weald/ingest"
	"weald/ingest/ble"
	"weald/ingest/calib"
	"weald/ingest/filelink"
	"weald/ingest/mqtt"
	"weald/ingest/sample"
	"weald/ingest/serialport"
	"weald/ingest/tcp"
	"weald/stream/journal"
	"weald/webui/api"
)

// bridgeOf turns what the configuration says of a bridge into what ingest runs.
// A nil link is for recordings, which are played without one.
func bridgeOf(c *config.Config, b *config.Bridge, link ingest.Link) ingest.Bridge {
	return membersOf(c.Plan()).bridge(b, link)
}

// bridge is bridgeOf for who asks of many.
func (m *members) bridge(b *config.Bridge, link ingest.Link) ingest.Bridge {
	out := ingest.Bridge{ID: b.ID, Link: link, Capture: b.Capture, Format: formatOf(b)}
	for i := range b.Sources {
		s := &b.Sources[i]
		out.Sources = append(out.Sources, ingest.Source{
			Number: s.Number, ID: s.ID, Index: s.Index,
			Channels: s.Channels, Rate: s.Rate, StaleAfter: s.StaleAfter,
			Unit: unitOf(s), Calibration: s.Lines, SaturatesAt: s.SaturatesAt, BatteryEmptyMV: s.BatteryEmptyMV,
		})
		m.lay(&out.Sources[i])
	}
	return out
}

// unitOf is what a source's readings are in.
func unitOf(s *config.Source) calib.Unit {
	if s.Unit == config.MMHg {
		return calib.MMHg
	}
	return calib.Counts
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

// A line runs a bridge: an ingest.Supervisor, or what is known of one on another machine.
type line interface {
	Run(context.Context) error
	Status() ingest.Status
	Lay([]ingest.Layout)
}

// A running bridge is its supervisor and its way, as its settings say. Its supervisor
// counts its sources from 0; what they are in the plan changes with the plan.
type running struct {
	line
	way
	spec config.Bridge
	at   []int           // by source: its index in the plan of the reign in force; guarded by daemon.gate, nil while it has none
	ctx  context.Context // of its run, as are the two below; nil before it began
	stop context.CancelFunc
	done chan struct{} // closed when it has ended
}

// connect gives a reign its bridges: those that the daemon has, and new ones. Scans of
// these go to the pipeline once they are launched.
func (d *daemon) connect(t *reign) error {
	for i := range t.config.Bridges {
		b := &t.config.Bridges[i]
		r := d.lines[b.ID]
		switch {
		case r == nil && elsewhereRead(t.config):
			r = &running{spec: *b, line: newElsewhere(b, d.inflow.had)}
			d.enlist(t, r)
		case r == nil:
			w, err := wayOf(b, d.broker, d.speed, d.log)
			if err != nil {
				return err
			}
			bridge := t.members.bridge(b, w.link)
			t.book.recall(&bridge)
			for k := range bridge.Sources {
				bridge.Sources[k].Index = k
			}
			r = &running{way: w, spec: *b}
			if r.line, err = ingest.New(bridge, ingest.Options{Now: d.clock.Now, Speed: d.speed, Log: d.log, Out: d.taker(r)}); err != nil {
				return err
			}
			d.enlist(t, r)
		}
		d.gate.Lock() // who hears of bridges reads these meanwhile
		t.bridges = append(t.bridges, r)
		d.gate.Unlock()
	}
	return nil
}

// enlist gives a reign a bridge that has been made for it.
func (d *daemon) enlist(t *reign, r *running) {
	d.lines[r.spec.ID] = r
	d.gate.Lock()
	defer d.gate.Unlock()
	r.seat(t)
}

// launch lets a bridge run, as one of a group, until it is stopped or ctx ends.
func (r *running) launch(ctx context.Context, group *errgroup.Group) {
	r.ctx, r.stop = context.WithCancel(ctx)
	r.done = make(chan struct{})
	group.Go(func() error {
		defer close(r.done)
		return r.Run(r.ctx)
	})
}

// seat tells a bridge where its sources are in the plan of a reign, and how their
// channels are laid out there. The caller holds daemon.gate.
func (r *running) seat(t *reign) {
	r.at = make([]int, len(r.spec.Sources))
	for k := range r.at {
		i, ok := t.sources[r.spec.Sources[k].ID]
		if !ok {
			r.at = nil
			return
		}
		r.at[k] = i
	}
	r.Lay(t.members.layouts(r.at))
}

// taker returns what takes the scans of a bridge to the pipeline of the reign in force.
// One whose link acknowledges frames waits until they are in the record, because a
// gateway does not send again what was acknowledged. A full disk does not stop the
// judging: the frame is acknowledged all the same, and /readyz says why. One that has
// failed ends the daemon, and its frame stays with the gateway.
func (d *daemon) taker(r *running) func(*sample.Scan) {
	waits := d.store != nil && r.acknowledges()
	return func(s *sample.Scan) {
		switch b, put := d.put(r, s, waits); {
		case waits && !put: // whoever sent it sends it again, to the bridge that comes after this one
			<-r.ctx.Done()
		case b != nil:
			receipt(d.ctx, b.keeper.Flush)
		}
	}
}

// acknowledges reports whether a bridge is told what is safe, and keeps what is not.
func (r *running) acknowledges() bool { return r.spec.Link.MQTT != nil || r.spec.Link.Client != nil }

// put gives a scan to the pipeline, and reports whether there is one for it: a bridge that
// is about to end, as the configuration has it no more, has none. With waits it returns
// the book that has the scan, when it has been judged.
func (d *daemon) put(r *running, s *sample.Scan, waits bool) (in *book, put bool) {
	d.gate.RLock()
	defer d.gate.RUnlock()
	if r.at == nil {
		return nil, false
	}
	own := s.Source
	defer func() { s.Source = own }()
	s.Source = r.at[own]
	if !waits {
		_ = d.reign.pipe.Put(d.ctx, s) // fails only when everything ends
		return nil, true
	}
	if d.reign.pipe.PutAndWait(d.ctx, s) != nil {
		return nil, true
	}
	return d.reign.book, true
}

// receipt returns when what is flushed is on the disk, when the disk is full, or
// when ctx ends, after which nothing is acknowledged any more. The keeper's next
// writing notes what went wrong.
func receipt(ctx context.Context, flush func(context.Context) error) {
	for {
		if err := flush(ctx); err == nil || errors.Is(err, journal.ErrFull) {
			return
		}
		select {
		case <-time.After(flushAgain):
		case <-ctx.Done():
			return
		}
	}
}

// flushAgain is after how long readings are handed to a disk again that did not
// take them and did not say that it is full.
const flushAgain = time.Second

// Status is the supervisor's, except that a listener which is closed is why
// nothing arrives.
func (r *running) Status() ingest.Status {
	s := r.line.Status()
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
