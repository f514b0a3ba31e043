package ingest

import (
	"errors"
	"fmt"
	"log/slog"
	"time"

	"weald/ingest/calib"
	"weald/ingest/frame"
	"weald/ingest/sample"
)

// A Bridge is one connection and the sources behind it.
type Bridge struct {
	ID      string
	Link    Link // nil for a Playback
	Format  Format
	Sources []Source

	// Capture is where raw bytes are kept; empty for nowhere.
	Capture string
}

// Format says how a bridge speaks.
type Format struct {
	Kind      Kind
	Delimited frame.Delimited // for Kind Delimited
}

// A Kind is the name of a format in the configuration.
type Kind string

// The formats.
const (
	Line      Kind = "line"
	Packed    Kind = "packed"
	Delimited Kind = "delimited"
)

// Decoder returns a new decoder, for one connection after the other.
func (f Format) Decoder() (frame.Decoder, error) {
	switch f.Kind {
	case Line:
		return frame.NewLine(), nil
	case Packed:
		return frame.NewPacked(), nil
	case Delimited:
		return frame.NewDelimited(f.Delimited)
	}
	return nil, fmt.Errorf("there is no format %q", f.Kind)
}

// A Source is one stream of scans behind a bridge.
type Source struct {
	Number uint16 // in the bridge's frames
	ID     string // "bridge/source"
	Index  int    // becomes sample.Scan.Source

	Channels   int
	Rate       float64       // scans a second, nominal; 0 if not stated
	StaleAfter time.Duration // how long a value lasts

	Unit        calib.Unit
	Calibration []calib.Line // a line a channel, or one for all, or none
	SaturatesAt float64      // readings from here on are unknown; 0 for the top of their coding

	// Rows and Columns say that the first channels are the cells of a mat, row
	// by row; 0 for none. Together lists channels that feel the same thing. Both
	// tell which channels can bear witness about which.
	Rows, Columns int
	Together      [][]int

	// Groups lists channels that somebody rests on; Condition.Mute counts by
	// them.
	Groups [][]int

	// Heard are the last scans that a former daemon had of the source, in the
	// order in which they came. A recording, which begins anew, has none.
	Heard []sample.Heard

	BatteryEmptyMV int // at which the device stops; 0 if that is not known
}

// Options is what a Supervisor needs from its surroundings.
type Options struct {
	// Now is the daemon's clock, Speed how many of its seconds pass in a real
	// one; 0 stands for 1.
	Now   func() sample.Instant
	Speed float64

	// Out gets every scan, on the goroutine of Run, and may not keep it.
	Out func(*sample.Scan)

	Log *slog.Logger // nil for silence
}

// check refuses what would only fail later.
func (b *Bridge) check() error {
	var errs []error
	numbers := make(map[uint16]bool, len(b.Sources))
	for _, s := range b.Sources {
		if numbers[s.Number] {
			errs = append(errs, fmt.Errorf("bridge %s has two sources with the number %d", b.ID, s.Number))
		}
		numbers[s.Number] = true
		if s.Channels <= 0 {
			errs = append(errs, fmt.Errorf("source %s has no channels", s.ID))
		}
		for _, group := range s.Groups {
			for _, i := range group {
				if i < 0 || i >= s.Channels {
					errs = append(errs, fmt.Errorf("source %s has no channel %d to be in a group", s.ID, i))
				}
			}
		}
		if n := len(s.Calibration); n > 1 && n != s.Channels {
			errs = append(errs, fmt.Errorf("source %s has %d channels and a calibration for %d", s.ID, s.Channels, n))
		}
	}
	if _, err := b.Format.Decoder(); err != nil {
		errs = append(errs, fmt.Errorf("bridge %s: %w", b.ID, err))
	}
	return errors.Join(errs...)
}
