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
type Set struct {
	sources []source
	moved   []int32 // those of a run that were not where they had been; for the largest source
	draft   draft
}

type source struct {
	Source
	zeros []zero // those that were zeroed, by index

	// Those that have a record, by index, all of equal length.
	channels  []channel
	stretches []stretch
	rests     []rest           // nil where the motion of none matters
	courses   []course         // as rests
	crepts    []crept          // nil where none has a creep
	due       []sample.Instant // when the first of a flock has another age

	words   []uint16 // of the tables
	changed bool     // runs are not of these channels, and words has some of no channel
	runs    []run
	rail    float64        // that stretches are kept from
	last    sample.Instant // event time of the newest scan
	day     sample.Instant // from then on the calibrations may be a day older

	u, shared []float64 // of the present scan
	beyond    []bool
	expired   []bool // which are past their date; nil for none
}

// NewSet returns a Set without any record, for sources in the order in which
// scans count them.
func NewSet(sources []Source) *Set {
	s := &Set{sources: make([]source, len(sources))}
	most := 0
	for i := range sources {
		s.sources[i] = source{Source: sources[i], last: sample.Past, day: sample.Past, rail: noRail}
		most = max(most, sources[i].Channels)
	}
	s.moved = make([]int32, most)
	return s
}

// Apply lets a record be in force from the next scan on, in place of any other
// of its channel. A record that was rejected, cannot be used, or is of a channel
// that the configuration does not have is refused, and the former one stays.
func (s *Set) Apply(r *record.Record) error {
	if err := s.Permits(r); err != nil {
		return err
	}
	s.sources[s.index(r.Bridge, r.Source)].apply(&s.draft, r)
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
		src.calibrate(scan, s.moved)
	}
	src.shift(scan)
}

// calibrate converts the channels that have a record.
func (src *source) calibrate(scan *sample.Scan, moved []int32) {
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
	src.convert(scan, rail, moved)
	src.last = max(src.last, scan.At)
	for _, i := range scan.Withheld {
		scan.Values[i], src.beyond[i] = sample.Unknown, false
	}
	scan.U, scan.Shared, scan.Extrapolated, scan.Expired = src.u, src.shared, src.beyond, src.expired
}

// grow lets all calibrations be as old as they are.
func (s *source) grow(at sample.Instant) {
	s.day, s.expired = sample.Never, nil
	for k := range s.channels {
		l := s.channels[k].lot
		l.grow(at)
		s.day = min(s.day, l.made.Add(time.Duration(l.day+1)*day))
		if at <= l.until {
			s.day = min(s.day, l.until+1)
			continue
		}
		if s.expired == nil {
			s.expired = make([]bool, s.Channels)
		}
		s.expired[s.channels[k].index] = true
	}
	s.forget()
}

// Any reports whether a source has a channel with a record.
func (s *Set) Any(source int) bool { return len(s.sources[source].channels) > 0 }

// InForce returns the identity of the record of a channel that is in force; "" if
// there is none.
func (s *Set) InForce(source, index int) string {
	src := &s.sources[source]
	if k, found := src.find(index); found {
		return src.channels[k].name()
	}
	return ""
}
