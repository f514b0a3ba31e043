package config

import (
	"strings"

	"weald/config/internal/shape"
	"weald/config/internal/tree"
	"weald/ingest/ble"
	"weald/ingest/calib"
)

// BLE is a Bluetooth peripheral, in which ble finds nothing wrong.
type BLE = ble.Config

func (r *reader) ble(b shape.BLE, bridge shape.Bridge, path tree.Path) *BLE {
	out := &BLE{
		Address: strings.ToUpper(string(b.Address)), Name: string(b.Name), Adapter: string(b.Adapter),
		Service: string(b.Service), Characteristic: string(b.Characteristic),
	}
	if b.Pressure != nil {
		out.Pressure = &ble.Pressure{Is: ble.Reference(b.Pressure.Is)}
		if b.Pressure.AmbientHPa != nil {
			out.Pressure.Ambient = *b.Pressure.AmbientHPa
		}
		if len(bridge.Sources) > 0 {
			out.Pressure.Source = uint16(bridge.Sources[0].Number)
		}
	}
	for _, p := range out.Problems() {
		at := path
		for key := range strings.SplitSeq(p.Key, ".") {
			at = at.With(key)
		}
		r.doc.Report(at, "%s", at.Name()+": "+p.Text)
	}
	if bridge.Format != string(FormatPacked) && bridge.Format != "" {
		r.doc.Report(path[:len(path)-2].With("format"), "format is %s, but a Bluetooth peripheral speaks packed: give format: packed", bridge.Format)
	}
	return out
}

// pressure checks that a bridge to a plain pressure sensor has what such a
// sensor has, and calibrates its one channel.
func (r *reader) pressure(b *Bridge, from shape.Bridge, path tree.Path) {
	p := b.Link.BLE.Pressure
	at := path.With("sources")
	switch {
	case r.doc.Faulty(at):
		return
	case len(b.Sources) != 1:
		r.doc.Report(at, "sources has %d members, but a plain pressure sensor is one source: give one", len(b.Sources))
		return
	}
	s, of := &b.Sources[0], from.Sources[0]
	at = at.With(0)
	if s.Channels != 1 {
		r.doc.Report(at.With("channels"), "channels is %d, but a plain pressure sensor has one: give 1", s.Channels)
	}
	if s.Unit != Counts {
		r.doc.Report(at.With("unit"), "unit is %s, but the pressure arrives in steps that are turned into mmHg here: leave it out", s.Unit)
	}
	if len(of.Calibration) > 0 {
		r.doc.Report(at.With("calibration"), "calibration is that of pressure already: leave it out")
	}
	s.Lines = []calib.Line{p.Line()}
	r.plan.Sources[s.Index].Calibrated = true
}
