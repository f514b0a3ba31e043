package config

import (
	"time"

	"weald/config/internal/shape"
	"weald/config/internal/tree"
	"weald/ingest/calib"
	"weald/ingest/frame"
	"weald/rules"
)

// A Format is what the bytes of a bridge are.
type Format string

// The formats.
const (
	FormatLine      Format = "line"
	FormatPacked    Format = "packed"
	FormatDelimited Format = "delimited"
)

// A Bridge is one connection and what is behind it.
type Bridge struct {
	ID        string
	Link      Link
	Format    Format
	Delimited *frame.Delimited // nil unless the format is FormatDelimited
	Capture   string           // path of the file that raw bytes go to; "" for none
	Sources   []Source         // at least one
}

// A Unit is what the readings of a source are.
type Unit string

// The units.
const (
	Counts Unit = "counts"
	MMHg   Unit = "mmHg"
)

// A Source is one device behind a bridge.
type Source struct {
	Number     uint16 // in the frames
	ID         string // "bridge/source"
	Index      int    // counts through the sources of all bridges: sample.Scan.Source
	Channels   int
	Rate       float64 // nominal scans per second
	StaleAfter time.Duration
	Unit       Unit

	// Lines has one calibration a channel, calib.None where a channel has none;
	// nil where no channel has one.
	Lines []calib.Line

	// SaturatesAt is the reading, in the source's unit, from which on a value
	// is unknown; 0 leaves it to the coding of the frames.
	SaturatesAt float64

	BatteryEmptyMV int // voltage at which the device stops; 0 where it is not known
}

// leastStale is what stale_after is at least where the file does not say.
const leastStale = time.Second

// mostOnLine is how many readings one line of the line format can carry.
const mostOnLine = 512

func (r *reader) bridges() []Bridge {
	var out []Bridge
	seen := map[string]tree.Path{}
	owners := map[string]string{} // of ports and capture files
	for i, b := range r.file.Bridges {
		path := tree.Path{"bridges", i}
		r.unique(seen, string(b.ID), "bridge", path.With("id"))
		bridge := Bridge{
			ID:      string(b.ID),
			Link:    r.link(b, path.With("link")),
			Format:  Format(b.Format),
			Capture: r.path(b.Capture, r.dataFolder()),
		}
		if s := bridge.Link.Serial; s != nil && s.Port != "" {
			r.owned(owners, s.Port, bridge.ID, path.With("link", "serial", "port"))
		}
		if p := bridge.Link.BLE; p != nil && p.Address+p.Name != "" {
			key := "address"
			if p.Address == "" {
				key = "name"
			}
			r.owned(owners, p.Address+p.Name, bridge.ID, path.With("link", "ble", key))
		}
		if bridge.Capture != "" {
			r.owned(owners, bridge.Capture, bridge.ID, path.With("capture"))
		}
		bridge.Sources = r.bridgeSources(b, path)
		if p := bridge.Link.BLE; p != nil && p.Pressure != nil {
			r.pressure(&bridge, b, path)
		}
		switch {
		case b.Delimited != nil && bridge.Format == FormatDelimited:
			bridge.Delimited = r.delimited(b, path.With("delimited"))
		case b.Delimited != nil:
			r.doc.Report(path.With("delimited"), "delimited describes columns, but the format is %s: leave it out, or give format: delimited", b.Format)
		case bridge.Format == FormatDelimited:
			r.doc.Report(path.With("delimited"), "delimited is missing: say which columns are the time and the channels")
		}
		out = append(out, bridge)
	}
	return out
}

func (r *reader) dataFolder() string {
	if r.file.Data != "" {
		return r.path(r.file.Data, r.folder)
	}
	return r.folder
}

// owned reports a port or file that another bridge has already.
func (r *reader) owned(owners map[string]string, name, bridge string, path tree.Path) {
	if other, taken := owners[name]; taken {
		r.doc.Report(path, "%s is %q, which bridge %s has already: give each bridge its own", path.Name(), name, other)
	}
	owners[name] = bridge
}

func (r *reader) bridgeSources(b shape.Bridge, bridge tree.Path) []Source {
	var out []Source
	ids, numbers := map[string]tree.Path{}, map[int]tree.Path{}
	for i, s := range b.Sources {
		path := bridge.With("sources", i)
		r.unique(ids, string(s.ID), "source of a bridge", path.With("id"))
		if first, again := numbers[s.Number]; again {
			r.doc.Report(path.With("number"), "number %d is used twice on this bridge, first on line %d: give each source its own",
				s.Number, r.doc.Line(first))
		} else if !r.doc.Faulty(path.With("number")) {
			numbers[s.Number] = path.With("number")
		}
		if b.Format == string(FormatLine) && s.Channels > mostOnLine {
			r.doc.Report(path.With("channels"), "channels is %d, but a line carries at most %d readings: use format: packed",
				s.Channels, mostOnLine)
		}
		out = append(out, r.source(s, string(b.ID), path))
	}
	return out
}

func (r *reader) source(s shape.Source, bridge string, path tree.Path) Source {
	src := Source{
		Number:     uint16(s.Number),
		ID:         bridge + "/" + string(s.ID),
		Index:      len(r.plan.Sources),
		Channels:   s.Channels,
		Rate:       s.Rate,
		StaleAfter: r.staleAfter(s, path.With("stale_after")),
		Unit:       Unit(s.Unit),

		BatteryEmptyMV: s.BatteryEmptyMV,
	}
	if s.SaturatesAt != nil {
		src.SaturatesAt = *s.SaturatesAt
	}
	if r.doc.Faulty(path.With("channels")) {
		src.Channels = 0 // so that nothing is said of channels that refer to it
	}
	src.Lines = r.lines(s, src.Channels, path.With("calibration"))
	var u []float64
	src.Lines, u = r.alike(src.Lines)

	if _, again := r.sources[src.ID]; !again {
		r.sources[src.ID] = src.Index
	}
	r.plan.Sources = append(r.plan.Sources, rules.Source{
		ID:         src.ID,
		Channels:   src.Channels,
		StaleAfter: src.StaleAfter,
		U:          u,
		Calibrated: src.Unit == MMHg || src.Lines != nil,
	})
	return src
}

// staleAfter returns how long a reading lasts: what the file says, or the
// larger of 1 s and 3 nominal periods.
func (r *reader) staleAfter(s shape.Source, path tree.Path) time.Duration {
	if s.Rate <= 0 {
		return leastStale // reported already
	}
	period := nominal(s.Rate)
	if s.StaleAfter == nil {
		return max(leastStale, 3*period)
	}
	d := time.Duration(*s.StaleAfter)
	if d == 0 {
		r.doc.Report(path, "stale_after is 0s: then no reading would ever last; give a duration above 0, such as %v", max(leastStale, 3*period))
	}
	return d
}

// nominal returns the period of a source with so many scans per second, 0 for
// a rate that makes no sense.
func nominal(rate float64) time.Duration {
	if rate <= 0 {
		return 0
	}
	return time.Duration(min(float64(time.Second)/rate, float64(365*24*time.Hour)))
}
