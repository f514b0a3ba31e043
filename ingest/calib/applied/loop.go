package applied

import (
	"math"
	"slices"
	"sort"

	"weald/ingest/calib/curve"
	"weald/ingest/sample"
)

// A quick is what the loops need of a channel, close together in memory.
type quick struct {
	scale, offset float64 // as of its grid
	base          uint32  // as of its grid
	last          uint32  // piece: it and piece 0 are outside of the calibrated range
	first         uint32  // where piece 0 is among those of the source
}

func (c *channel) quick(first int) quick {
	return quick{scale: c.scale, offset: c.offset, base: uint32(c.base), last: uint32(c.n - 1), first: uint32(first)}
}

// far returns the piece of a d that is farther out than the outer pieces were made
// for. It is rare, and not to be worked out beside what is not.
//
//go:noinline
func (q *quick) far(d float64) uint32 {
	if d < 1 {
		return 0
	}
	return q.last
}

// A run is channels that stand still and have indices one after the other, and
// grids that are equally fine.
type run struct {
	index, from, to int32
	shift           uint8
}

// A spot is where a reading is: as d of its grid, on a piece of the source.
type spot struct {
	d     float32 // NaN for a reading that there is not
	piece uint32
}

// convert converts the channels of which the motion does not matter: first it
// finds all spots, then what is there, as the processor has not enough registers
// for both at once.
func (s *source) convert(scan *sample.Scan, rail float64) {
	for _, r := range s.runs {
		quick, to := s.quick[r.from:r.to], r.index+r.to-r.from
		spots := s.spots[:len(quick)]
		locate(spots, s.beyond[r.index:to], quick, scan.Raw[r.index:to], rail, r.shift)
		look(scan.Values[r.index:to], s.u[r.index:to], spots, s.pieces)
	}
}

// locate does what grid.at and grid.piece do for a run.
func locate(spots []spot, beyond []bool, quick []quick, raws []float64, rail float64, shift uint8) {
	spots, beyond, quick = spots[:len(raws)], beyond[:len(raws)], quick[:len(raws)]
	shift &= 63
	for k, raw := range raws {
		q := &quick[k]
		if !(raw < rail) { // nor is NaN
			spots[k], beyond[k] = spot{nowhere, q.first}, false
			continue
		}
		d := float64(raw*q.scale) + q.offset
		j := uint32(int64(math.Float64bits(d))>>shift) - q.base
		if j > q.last { // before piece 0 it has wrapped around
			j = q.far(d)
		}
		beyond[k] = j-1 >= q.last-1
		spots[k] = spot{float32(d), q.first + j}
	}
}

// look does what piece.at does for a run.
func look(values, us []float64, spots []spot, pieces []piece) {
	values, us = values[:len(spots)], us[:len(spots)]
	k := 0
	for ; k < len(spots)-1; k += 2 { // a pair at a time costs less than one by one
		a, b := spots[k], spots[k+1]
		t, o := &pieces[a.piece], &pieces[b.piece]
		values[k], us[k] = float64(t.p+float32(t.dp*a.d)), float64(t.u+float32(t.du*a.d))
		values[k+1], us[k+1] = float64(o.p+float32(o.dp*b.d)), float64(o.u+float32(o.du*b.d))
	}
	for ; k < len(spots); k++ {
		a := spots[k]
		t := &pieces[a.piece]
		values[k], us[k] = float64(t.p+float32(t.dp*a.d)), float64(t.u+float32(t.du*a.d))
	}
}

var nowhere = float32(math.NaN())

// A knee is a channel of which the table does not know everything that is
// extrapolated.
type knee struct {
	raw   curve.Range
	index int32
}

// bend corrects what is said to be extrapolated where tables do not know.
func (s *source) bend(scan *sample.Scan, rail float64) {
	for i := range s.knees {
		if k := &s.knees[i]; scan.Raw[k.index] < rail {
			s.beyond[k.index] = !k.raw.Has(scan.Raw[k.index])
		}
	}
}

// A moving is a channel of which the motion matters.
type moving struct {
	motion curve.Motion
	grid
	index, pieces   int32 // of the channel; of its first piece in source.pieces
	columns, column int32 // of its table, and the one for the direction it has
	creeps          bool
	left            bool // its reading is withheld
	behind          bool // its motion was not told of the last scan
	crept           crept
	moves           *moves
}

func (c *channel) moving(first int, last sample.Instant) moving {
	m := moving{
		motion: c.moves.motion, grid: c.grid, index: int32(c.index), pieces: int32(first), columns: int32(c.columns),
		creeps: c.moves.creep != nil, moves: c.moves,
	}
	m.behind = c.moves.motion.Last() != last
	m.turn()
	m.crept.until = sample.Past
	return m
}

// turn chooses the column of the direction.
func (m *moving) turn() {
	if m.columns > 1 {
		m.column = int32(slices.Index(directions[:], m.motion.Direction()))
	}
}

// follow converts the channels of which the motion matters. A scan that is out of
// order moves nothing: no direction is known of it, and no age of its load.
func (s *source) follow(scan *sample.Scan, rail float64) {
	values, raws := scan.Values[:s.Channels], scan.Raw[:s.Channels]
	us, beyond := s.u[:s.Channels], s.beyond[:s.Channels]
	at, inOrder := scan.At, scan.At >= s.last
	share := curve.Share(at.Sub(s.last))
	s.leave(scan.Withheld, true)
	for k := range s.moving {
		q := &s.moving[k]
		i := int(q.index)
		raw := raws[i]
		d := q.at(raw)
		j := q.piece(d)
		row := q.pieces + j*q.columns
		column := q.column
		if p, _ := s.pieces[row].at(d); raw >= rail || q.behind || q.left || !inOrder || !q.motion.Rests(share, p) {
			if raw != raw || raw >= rail || q.left {
				q.miss(s.last, inOrder)
				values[i], beyond[i] = sample.Unknown, false
				continue
			}
			if inOrder {
				q.move(at, share, p)
				column = q.column
			} else {
				column = q.columns - 1
			}
		}
		p, u := s.pieces[row+column].at(d)
		if q.creeps && inOrder {
			if at >= q.crept.until {
				q.crept.at(q.moves, at, q.motion.Age(at))
			}
			p *= q.crept.shrink
			u = math.Sqrt(float64(u*u) + float64(p*p*q.crept.uu))
		}
		values[i], us[i] = p, u
		beyond[i] = j == 0 || j == q.n-1
	}
	s.leave(scan.Withheld, false)
}

// leave marks the channels of which a scan's readings are withheld.
func (s *source) leave(withheld []int, left bool) {
	for _, i := range withheld {
		if k := sort.Search(len(s.moving), func(k int) bool { return int(s.moving[k].index) >= i }); k < len(s.moving) && int(s.moving[k].index) == i {
			s.moving[k].left = left
		}
	}
}

// miss notes that a channel has no reading in a scan, the first after so many
// that ended at last.
func (m *moving) miss(last sample.Instant, inOrder bool) {
	if inOrder && !m.behind {
		m.motion.Rested(last)
		m.behind = true
	}
}

// move takes a reading that is more than rest, or comes after others were missed.
func (m *moving) move(at sample.Instant, share, p float64) {
	if m.behind {
		share = curve.Share(at.Sub(m.motion.Last()))
		m.behind = false
	}
	since := m.motion.Since()
	m.motion.Move(at, share, p, m.moves.width)
	m.turn()
	if m.motion.Since() != since {
		m.crept.until = sample.Past
	}
}

// arrange puts what the loops need of the channels together, after some have
// changed.
func (s *source) arrange() {
	s.park()
	s.quick, s.runs, s.moving, s.knees, s.pieces, s.changed = s.quick[:0], s.runs[:0], s.moving[:0], s.knees[:0], nil, false
	for _, c := range s.channels {
		first, n := len(s.pieces), int32(len(s.quick))
		s.pieces = append(s.pieces, c.pieces...)
		if c.knee {
			s.knees = append(s.knees, knee{c.raws, int32(c.index)})
		}
		if c.moves != nil {
			s.moving = append(s.moving, c.moving(first, s.last))
			continue
		}
		s.quick = append(s.quick, c.quick(first))
		if r := len(s.runs) - 1; r >= 0 && s.runs[r].shift == c.shift && s.runs[r].index+n-s.runs[r].from == int32(c.index) {
			s.runs[r].to++
		} else {
			s.runs = append(s.runs, run{int32(c.index), n, n + 1, c.shift})
		}
	}
	first := 0
	for _, c := range s.channels { // the tables grow older where the loops read them
		n := len(c.pieces)
		c.pieces = s.pieces[first : first+n : first+n]
		first += n
	}
	s.spots = make([]spot, len(s.quick))
	if s.u == nil {
		s.u, s.shared, s.beyond = make([]float64, s.Channels), make([]float64, s.Channels), make([]bool, s.Channels)
		for i := range s.u {
			if s.u[i] = sample.Unknown; s.U != nil {
				s.u[i] = s.U[i]
			}
		}
	}
	for _, c := range s.channels {
		s.shared[c.index] = c.shared
	}
}

// park brings the motions back to their channels.
func (s *source) park() {
	for k := range s.moving {
		m := &s.moving[k]
		if !m.behind {
			m.motion.Rested(s.last)
		}
		m.moves.motion = m.motion
	}
}
