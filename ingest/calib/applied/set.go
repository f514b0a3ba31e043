package applied

import (
	"fmt"
	"math"
	"slices"
	"time"

	"weald/ingest/calib/record"
	"weald/ingest/sample"
)

var noRail = math.Inf(1)

// A Source is one stream of scans, as the configuration has it.
type Source struct {
	ID       string // "bridge/source"
	Channels int
	U        []float64 // standard uncertainty by channel in mmHg, NaN not stated; nil for none
}

// A Set is the records in force of all sources.
type Set struct{ sources []source }

type source struct {
	Source
	channels []*channel // those that have a record, by index
	zeros    []zero     // those that were zeroed, by index
	changed  bool       // what follows is not of these channels yet
	runs     []run      // those that stand still, for the loop
	quick    []quick    // by channel
	spots    []spot     // of a run
	moving   []moving   // the others
	knees    []knee
	pieces   []piece        // of their tables, one behind the other
	last     sample.Instant // event time of the newest scan
	day      sample.Instant // from then on the calibrations may be a day older

	u, shared []float64 // of the present scan
	beyond    []bool
	expired   []bool // which are past their date; nil for none
}

// NewSet returns a Set without any record, for sources in the order in which
// scans count them.
func NewSet(sources []Source) *Set {
	s := &Set{sources: make([]source, len(sources))}
	for i := range sources {
		s.sources[i] = source{Source: sources[i], last: sample.Past, day: sample.Past}
	}
	return s
}

// Apply lets a record be in force from the next scan on, in place of any other
// of its channel. A record that was rejected, cannot be used, or is of a channel
// that the configuration does not have is refused, and the former one stays.
func (s *Set) Apply(r *record.Record) error {
	if err := s.Permits(r); err != nil {
		return err
	}
	src := &s.sources[s.index(r.Bridge, r.Source)]
	at, found := slices.BinarySearchFunc(src.channels, r.Channel, func(c *channel, n int) int { return c.index - n })
	if found {
		src.channels[at] = newChannel(r)
	} else {
		src.channels = slices.Insert(src.channels, at, newChannel(r))
	}
	src.unzero(r.Channel)
	src.day, src.changed = sample.Past, true
	return nil
}

func (s *Set) index(bridge, id string) int {
	return slices.IndexFunc(s.sources, func(x source) bool { return x.ID == bridge+"/"+id })
}

// Permits returns why Apply would refuse a record, or nil.
func (s *Set) Permits(r *record.Record) error {
	name := fmt.Sprintf("%s/%s/%d", r.Bridge, r.Source, r.Channel)
	i := s.index(r.Bridge, r.Source)
	switch {
	case i < 0 || r.Channel >= s.sources[i].Channels:
		return fmt.Errorf("calibration of %s: there is no such channel", name)
	case r.Verdict == record.Rejected:
		return fmt.Errorf("calibration of %s was rejected and must not be used", name)
	}
	if err := r.Check(); err != nil {
		return fmt.Errorf("calibration of %s: %w", name, err)
	}
	return nil
}

// Convert sets the values of those channels of a scan that have a record, and the
// scan's U, Shared, Extrapolated and Expired, which are valid until the next call, and
// takes off what zeroings say; a scan of a source without either stays as it is. What
// was not delivered, is at the rail or was withheld has no value.
func (s *Set) Convert(scan *sample.Scan) {
	if s == nil {
		return
	}
	src := &s.sources[scan.Source]
	if len(scan.Raw) != src.Channels {
		return
	}
	if len(src.channels) > 0 {
		src.calibrate(scan)
	}
	src.shift(scan)
}

// calibrate converts the channels that have a record.
func (src *source) calibrate(scan *sample.Scan) {
	if src.changed { // records often come many at a time
		src.arrange()
	}
	if scan.At >= src.day {
		src.grow(scan.At)
	}
	rail := scan.Rail
	if rail == 0 {
		rail = noRail
	}
	src.convert(scan, rail)
	if len(src.moving) > 0 {
		src.follow(scan, rail)
	}
	src.bend(scan, rail)
	src.last = max(src.last, scan.At)
	for _, i := range scan.Withheld {
		scan.Values[i], src.beyond[i] = sample.Unknown, false
	}
	scan.U, scan.Shared, scan.Extrapolated, scan.Expired = src.u, src.shared, src.beyond, src.expired
}

// grow lets all calibrations be as old as they are.
func (s *source) grow(at sample.Instant) {
	s.day, s.expired = sample.Never, nil
	for _, c := range s.channels {
		c.grow(at)
		s.day = min(s.day, c.made.Add(time.Duration(c.day+1)*day))
		if at <= c.until {
			s.day = min(s.day, c.until+1)
			continue
		}
		if s.expired == nil {
			s.expired = make([]bool, s.Channels)
		}
		s.expired[c.index] = true
	}
}

// Any reports whether a source has a channel with a record.
func (s *Set) Any(source int) bool { return len(s.sources[source].channels) > 0 }

// InForce returns the identity of the record of a channel that is in force; "" if
// there is none.
func (s *Set) InForce(source, index int) string {
	for _, c := range s.sources[source].channels {
		if c.index == index {
			return c.name()
		}
	}
	return ""
}
