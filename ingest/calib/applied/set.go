package applied

import (
	"fmt"
	"math"
	"slices"

	"weald/ingest/calib/curve"
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
	channels []*channel     // those that have a record, by index
	changed  bool           // what follows is not of these channels yet
	quick    []quick        // the same ones, for the loop
	pieces   []piece        // of their tables, one behind the other
	last     sample.Instant // event time of the newest scan
	day      sample.Instant // from then on the calibrations may be a day older

	u, shared []float64 // of the present scan
	beyond    []bool
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
	src := &s.sources[s.index(r)]
	at, found := slices.BinarySearchFunc(src.channels, r.Channel, func(c *channel, n int) int { return c.index - n })
	if found {
		src.channels[at] = newChannel(r)
	} else {
		src.channels = slices.Insert(src.channels, at, newChannel(r))
	}
	src.day, src.changed = sample.Past, true
	return nil
}

func (s *Set) index(r *record.Record) int {
	return slices.IndexFunc(s.sources, func(x source) bool { return x.ID == r.Bridge+"/"+r.Source })
}

// Permits returns why Apply would refuse a record, or nil.
func (s *Set) Permits(r *record.Record) error {
	name := fmt.Sprintf("%s/%s/%d", r.Bridge, r.Source, r.Channel)
	i := s.index(r)
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

// A quick is what the loop needs of a channel, close together in memory. It has
// no pieces where the motion matters or the pressure has to be computed.
type quick struct {
	low, scale float64
	index      int32
	n, first   int32 // pieces, in source.pieces; 0 for none
}

// prepare makes the buffers of a source that has records.
func (s *source) prepare() {
	s.quick, s.pieces, s.changed = s.quick[:0], nil, false
	for _, c := range s.channels {
		q := quick{index: int32(c.index)}
		if t := &c.up; !c.moves && t.pieces != nil {
			q.low, q.scale, q.n, q.first = t.low, t.scale, int32(len(t.pieces)), int32(len(s.pieces))
			s.pieces = append(s.pieces, t.pieces...)
		}
		s.quick = append(s.quick, q)
	}
	for k, c := range s.channels { // the tables grow older where the loop reads them
		if q := &s.quick[k]; q.n > 0 {
			c.up.pieces = s.pieces[q.first : q.first+q.n : q.first+q.n]
		}
	}
	if s.u != nil {
		s.share()
		return
	}
	defer s.share()
	s.u, s.shared, s.beyond = make([]float64, s.Channels), make([]float64, s.Channels), make([]bool, s.Channels)
	for i := range s.u {
		if s.u[i] = sample.Unknown; s.U != nil {
			s.u[i] = s.U[i]
		}
	}
}

// Convert sets the values of those channels of a scan that have a record, and the
// scan's U, Shared and Extrapolated, which are valid until the next call; a scan
// of a source without records stays as it is. What was not delivered, is at the
// rail or was withheld has no value.
func (s *Set) Convert(scan *sample.Scan) {
	if s == nil {
		return
	}
	src := &s.sources[scan.Source]
	if len(src.channels) == 0 || len(scan.Raw) != src.Channels {
		return
	}
	if src.changed { // records often come many at a time
		src.prepare()
	}
	if scan.At >= src.day {
		src.grow(scan.At)
	}
	inOrder := scan.At >= src.last
	src.last = max(src.last, scan.At)
	src.convert(scan, inOrder)
	scan.U, scan.Shared, scan.Extrapolated = src.u, src.shared, src.beyond
}

func (s *source) convert(scan *sample.Scan, inOrder bool) {
	values, raws, rail := scan.Values[:s.Channels], scan.Raw[:s.Channels], scan.Rail
	if rail == 0 {
		rail = noRail
	}
	us, beyond := s.u[:s.Channels], s.beyond[:s.Channels]
	for k := range s.quick {
		q := &s.quick[k]
		i := int(q.index)
		raw, n := raws[i], float64(q.n)
		x := (raw - q.low) * q.scale
		if x >= 0 && x < n && raw < rail { // which NaN is not
			j := int32(x)
			f := x - float64(j)
			t := &s.pieces[q.first+j]
			values[i] = t.p + float64(f*t.dp) // as in table.at
			us[i] = t.u + float64(f*t.du)
			beyond[i] = math.Abs(x-n/2) > n/4+rounding
			continue
		}
		if raw != raw || raw >= rail || slices.Contains(scan.Withheld, i) {
			values[i], beyond[i] = sample.Unknown, false
			continue
		}
		c := s.channels[k]
		if c.moves {
			values[i], us[i] = c.follow(scan.At, raw, inOrder)
		} else {
			values[i], us[i] = c.value(raw, curve.Loading)
		}
		beyond[i] = raw < c.low || raw > c.high
	}
	for _, i := range scan.Withheld {
		values[i], beyond[i] = sample.Unknown, false
	}
}

// rounding is by how much the place of a count among the pieces may be off. The
// calibrated range is the middle half of a table.
const rounding = 1e-9

// share states what the channels have in common with others.
func (s *source) share() {
	for _, c := range s.channels {
		s.shared[c.index] = c.shared
	}
}

// grow lets all calibrations be as old as they are.
func (s *source) grow(at sample.Instant) {
	s.day = sample.Never
	for _, c := range s.channels {
		c.grow(at)
		s.day = min(s.day, sample.At(c.record.At).Add(c.age()+day))
	}
}

// Past returns the channels of a source whose calibrations are past their date
// at an instant, ascending.
func (s *Set) Past(source int, at sample.Instant) (channels []int) {
	for _, c := range s.sources[source].channels {
		if c.record.Expired(at.Time()) {
			channels = append(channels, c.index)
		}
	}
	return channels
}

// Any reports whether a source has a channel with a record.
func (s *Set) Any(source int) bool { return len(s.sources[source].channels) > 0 }

// Record returns the record of a channel that is in force; nil if there is none.
func (s *Set) Record(source, index int) *record.Record {
	for _, c := range s.sources[source].channels {
		if c.index == index {
			return c.record
		}
	}
	return nil
}
