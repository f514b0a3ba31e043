package applied

import (
	"slices"

	"weald/ingest/calib/curve"
	"weald/ingest/calib/record"
	"weald/ingest/sample"
)

// find returns the position of a channel among those with a record, or where it
// would be.
func (s *source) find(index int) (k int, found bool) {
	return slices.BinarySearchFunc(s.channels, index, func(c channel, i int) int { return int(c.index) - i })
}

// apply puts a record into force for its channel, in place of any other.
func (s *source) apply(d *draft, r *record.Record) {
	k, found := s.find(r.Channel)
	if !found {
		s.channels, s.stretches = slices.Insert(s.channels, k, channel{}), slices.Insert(s.stretches, k, stretch{})
		if s.rests != nil {
			s.rests, s.courses = slices.Insert(s.rests, k, rest{}), slices.Insert(s.courses, k, course{})
		}
		if s.crepts != nil {
			s.crepts = slices.Insert(s.crepts, k, crept{})
		}
	}
	c, cal := &s.channels[k], &r.Calibration
	s.words, c.table, s.stretches[k] = d.table(s.words, cal)
	c.index, c.id, c.lot = int32(r.Channel), identity(r), s.lot(k, lotOf(r))
	s.move(k, cal)
	s.unzero(r.Channel)
	s.day, s.changed = sample.Past, true
}

// lot returns that of a record: one that a neighbour has, if it can be.
func (s *source) lot(k int, l lot) *lot {
	for _, n := range [...]int{k - 1, k + 1} {
		if n >= 0 && n < len(s.channels) && s.channels[n].lot.same(l) {
			return s.channels[n].lot
		}
	}
	return &l
}

// move begins the motion of a channel. One of which it does not matter rests for
// ever, beside others.
func (s *source) move(k int, c *curve.Calibration) {
	follows := c.Unloading != nil || c.Creep != nil
	if s.rests == nil {
		if !follows {
			return
		}
		s.rests, s.courses = make([]rest, len(s.channels)), make([]course, len(s.channels))
	}
	if s.rests[k], s.courses[k] = (rest{}), (course{}); follows {
		s.rests[k].Average, s.courses[k] = curve.Unsettled(0), course{width: c.Width, follows: true, behind: true}
	}
	if s.crepts == nil {
		if c.Creep == nil {
			return
		}
		s.crepts = make([]crept, len(s.channels))
		for i := range s.crepts {
			s.crepts[i] = newCrept(nil)
		}
	}
	s.crepts[k] = newCrept(c.Creep)
}

// arrange finds what lies side by side, after some channels have changed, and gives
// the room back that they do not need: records often come many at a time.
func (s *source) arrange() {
	s.runs, s.changed = s.runs[:0], false
	n := 0
	for k := range s.channels {
		n += s.channels[k].words()
		if i := s.channels[k].index; k > 0 && i == s.channels[k-1].index+1 {
			s.runs[len(s.runs)-1].to++
		} else {
			s.runs = append(s.runs, run{i, int32(k), int32(k + 1)})
		}
	}
	words := make([]uint16, 0, n)
	for k := range s.channels {
		t := &s.channels[k].table
		at := len(words)
		words = append(words, s.words[t.at:][:t.words()]...)
		t.at = uint32(at)
	}
	s.words = words
	s.channels, s.stretches = fit(s.channels), fit(s.stretches)
	s.rests, s.courses, s.crepts = fit(s.rests), fit(s.courses), fit(s.crepts)
	if s.crepts != nil {
		s.due = make([]sample.Instant, (len(s.crepts)+flock-1)/flock)
	}
	s.forget()
	if s.u == nil {
		s.u, s.shared, s.beyond = make([]float64, s.Channels), make([]float64, s.Channels), make([]bool, s.Channels)
		for i := range s.u {
			if s.u[i] = sample.Unknown; s.U != nil {
				s.u[i] = s.U[i]
			}
		}
	}
	for k := range s.channels {
		s.shared[s.channels[k].index] = s.channels[k].lot.shared
	}
}

// fit returns a slice without more room than it needs.
func fit[T any](s []T) []T {
	if cap(s) == len(s) {
		return s
	}
	return append(make([]T, 0, len(s)), s...)
}
