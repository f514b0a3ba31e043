package applied

import (
	"math"

	"weald/ingest/calib/curve"
	"weald/ingest/sample"
)

// A run is channels with a record that have indices one after the other.
type run struct{ index, from, to int32 }

// convert converts the channels that have a record. Those that have moved are
// looked up afterwards, as a processor does one thing at a time best.
func (s *source) convert(scan *sample.Scan, rail float64, moved []int32) {
	if rail != s.rail {
		s.rail = rail
		s.forget()
	}
	inOrder := scan.At >= s.last
	share := 0.
	if s.rests != nil {
		share = curve.Share(scan.At.Sub(s.last))
		s.leave(scan.Withheld, true)
		if inOrder {
			s.ripen(scan.At)
		} else {
			s.forget() // of what follows nothing is kept
		}
	}
	for _, r := range s.runs {
		from, to := r.index, r.index+r.to-r.from
		values, beyond, raws, stretches := scan.Values[from:to], s.beyond[from:to], scan.Raw[from:to], s.stretches[r.from:r.to]
		n := 0
		if s.rests == nil {
			n = glide(moved, values, beyond, stretches, raws)
		} else {
			n = dwell(moved, values, beyond, stretches, s.rests[r.from:r.to], raws, share)
		}
		for _, k := range moved[:n] {
			s.seek(int(r.from+k), int(from+k), scan, share, inOrder)
		}
	}
	if s.rests != nil {
		s.leave(scan.Withheld, false)
	}
}

// seek converts the reading of a channel that is not where the last one was. A scan
// that is out of order moves nothing: no direction is known of it, and no age of its
// load.
func (s *source) seek(k, index int, scan *sample.Scan, share float64, inOrder bool) {
	t := &s.stretches[k]
	var m *course
	if s.rests != nil && s.courses[k].follows {
		m = &s.courses[k]
	}
	raw := scan.Raw[index]
	if !(raw < s.rail) || m != nil && m.left {
		if m != nil && inOrder {
			m.miss(s.last)
		}
		scan.Values[index], s.u[index], s.beyond[index] = sample.Unknown, sample.Unknown, false
		t.width = 0
		return
	}
	y := t.y(raw)
	i := whole(y)
	here, same := m != nil && inOrder && t.has(i), true
	if here {
		r := &s.rests[k]
		if same = m.follow(r, scan.At, share, r.at(y)); same { // it moves, or it would not be looked up
			scan.Values[index], s.beyond[index] = t.at(y), outside(i)
			return
		}
	}
	c := &s.channels[k]
	at, column := c.spot(s.words, i), loading
	p, dp := c.curve(s.words, at, loading)
	if m != nil {
		r := &s.rests[k]
		r.m, r.dm = p, dp
		if inOrder && !here && (m.behind || !r.Rests(share, r.at(y))) {
			same = m.follow(r, scan.At, share, r.at(y))
		}
		if c.branches {
			column = m.column(inOrder)
		}
	}
	if column != loading {
		q, dq := c.curve(s.words, at, unloading)
		if column == still {
			q, dq = (p+q)/2, (dp+dq)/2
		}
		p, dp = q, dq
	}
	t.p, t.dp = p, dp
	low, high, u := c.bounds(s.words, i, at, column)
	uu := c.lot.aged(u)
	if m != nil && inOrder && s.crepts != nil && s.crepts[k].until != sample.Never {
		uu = s.creep(k, uu, float64(low+high)/2, scan.At, same)
	}
	scan.Values[index], s.u[index], s.beyond[index] = t.at(y), math.Sqrt(uu), outside(i)
	if inOrder || m == nil {
		t.set(s.fence(t, low, high))
	}
}

// creep makes the stretch of a channel one of which the load, the same as before or
// another, has an age, and adds the doubt about that to the square of an uncertainty.
func (s *source) creep(k int, uu, middle float64, at sample.Instant, same bool) float64 {
	c, t := &s.crepts[k], &s.stretches[k]
	c.p, c.dp, c.uu = t.p, t.dp, float32(uu)
	c.level = float32(t.p + float64(t.dp*middle))
	if !same || at >= c.until {
		c.ripen(s.courses[k].Since(), at)
		s.due[k/flock] = min(s.due[k/flock], c.until)
	}
	return c.lay(t)
}

// fence keeps what is at the rail off a stretch.
func (s *source) fence(t *stretch, low, high int32) (int32, int32) {
	if s.rail == noRail {
		return low, high
	}
	rail := whole(t.y(s.rail))
	if t.scale > 0 {
		return low, min(high, rail)
	}
	return max(low, rail+1), high
}

// forget lets all readings be looked up.
func (s *source) forget() {
	for k := range s.stretches {
		s.stretches[k].width = 0
	}
}

// leave marks the channels of which a scan's readings are withheld.
func (s *source) leave(withheld []int, left bool) {
	for _, i := range withheld {
		if k, found := s.find(i); found {
			s.courses[k].left = left
			s.stretches[k].width = 0
		}
	}
}
