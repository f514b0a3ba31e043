package history

import (
	"bytes"
	"encoding/binary"
	"math"
	"slices"
	"time"

	"weald/ingest/sample"
	"weald/rules"
)

const (
	mapEvery = 30 * time.Second
	mapGroup = 10             // maps that rest on the first of them
	oldMaps  = 120 + mapGroup // of the oldest group all but some may be gone
)

// MapStep and OldMapStep are the steps in mmHg in which cells are told to pages, and
// in which those of older maps are kept, which is far below what a sensor is sure of.
const (
	MapStep    = 0.1
	OldMapStep = 0.5
)

// NoCell is the code of a cell that is unknown; no pressure is coded so.
const NoCell = math.MinInt16

// NoTime is the loaded time of a cell that is unknown; longer times than
// MostTime are told as MostTime.
const (
	NoTime   = math.MaxUint16
	MostTime = NoTime - 1
)

// A Map is the state of a mat's cells, row by row.
type Map struct {
	Version       uint64         // counts the maps of the place; 0 before the first
	At            sample.Instant // Past before the first
	Until         sample.Instant // the values last to here unless new ones come
	Rows, Columns int
	Cells         []float32 // mmHg, NaN unknown
	Loaded        []uint16  // s since the last relief; see NoTime
}

// A grid is the present map of a place and some older ones.
type grid struct {
	now   Map
	old   [oldMaps]oldMap // a ring
	next  int
	codes []int16        // of the newest of old
	kept  sample.Instant // when that was

	until sample.Instant // to where the newest measured values last
}

// An oldMap stands from at on for all maps up to the next, the last of which ends
// at until. Its cells are codes of OldMapStep, less those of the map before it.
type oldMap struct {
	at, until sample.Instant
	cells     []byte // see pack
}

func (g *grid) set(c *rules.Cells, until sample.Instant) {
	m := &g.now
	if m.Cells == nil {
		m.Rows, m.Columns = c.Rows, c.Columns
		m.Cells = make([]float32, len(c.Values))
		m.Loaded = make([]uint16, len(c.Values))
		g.kept = sample.Past
	}
	m.Version++
	// Without a measured map there is none yet, or the last one has just ended.
	measured := c.At != sample.Past && (c.At != m.At || until != sample.Never)
	silent := measured && m.At != sample.Past && c.At > g.until
	m.At, m.Until = c.At, until
	for i, v := range c.Values {
		m.Cells[i] = float32(v)
		switch {
		case v != v:
			m.Loaded[i] = NoTime
		case i < len(c.Loaded):
			m.Loaded[i] = uint16(min(c.Loaded[i]/time.Second, MostTime))
		}
	}
	if !measured {
		return
	}
	if g.until = until; g.kept == sample.Past || silent || c.At < g.kept || c.At.Sub(g.kept) >= mapEvery {
		g.keep()
	}
	g.old[(g.next-1)%oldMaps].until = until
}

// keep copies the present map into the ring.
func (g *grid) keep() {
	if g.next%mapGroup == 0 {
		clear(g.codes) // the first of a group stands for itself
	}
	codes := make([]int16, len(g.now.Cells))
	for i, v := range g.now.Cells {
		codes[i] = code(v, OldMapStep)
	}
	o := &g.old[g.next%oldMaps]
	g.next++
	o.at, g.kept = g.now.At, g.now.At
	if g.codes == nil {
		g.codes = make([]int16, len(codes))
	}
	o.cells = bytes.Clone(pack(nil, codes, g.codes)) // it stays for an hour: no byte too many
	g.codes = codes
}

// AppendCodes appends pressures in steps of MapStep, little endian: NoCell for unknown,
// and the nearest that there is for what is out of range.
func AppendCodes(b []byte, cells []float32) []byte {
	b = slices.Grow(b, 2*len(cells))
	to := b[len(b):][:2*len(cells)]
	for _, v := range cells {
		x := float64(v)/MapStep + 0.5 // as in code, which would be called here
		c := int16(0)
		if x >= 0 && x < math.MaxInt16+1 {
			c = int16(x)
		} else {
			c = farCode(x)
		}
		binary.LittleEndian.PutUint16(to, uint16(c))
		to = to[2:]
	}
	return b[:len(b)+2*len(cells)]
}

// code rounds the quotient half up; maps are read by eyes. Nearly all cells are from 0
// to what a code can say, where to cut off is to round down.
func code(v float32, step float64) int16 {
	x := float64(v)/step + 0.5
	if x >= 0 && x < math.MaxInt16+1 {
		return int16(x)
	}
	return farCode(x)
}

// farCode is the code for any quotient, with a half added.
//
//go:noinline
func farCode(x float64) int16 {
	if x != x {
		return NoCell
	}
	return int16(min(max(math.Floor(x), NoCell+1), math.MaxInt16))
}

// MapVersion tells whether a place's map is a new one.
func (s *Store) MapVersion(place int) uint64 {
	p := &s.places[place]
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.grid.now.Version
}

// Map copies the present map of a place into m, reusing its slices. It is the
// newest that was evaluated, even if its values have ended.
func (s *Store) Map(place int, m *Map) {
	p := &s.places[place]
	p.mu.Lock()
	defer p.mu.Unlock()
	cells, loaded := append(m.Cells[:0], p.grid.now.Cells...), append(m.Loaded[:0], p.grid.now.Loaded...)
	*m = p.grid.now
	m.Cells, m.Loaded = cells, loaded
}

// MapAt copies the map that stood at an instant into m, without loaded times:
// the newest kept one that is not younger. Its error is ErrNoMap: there is none,
// or the mat was silent then.
func (s *Store) MapAt(place int, at sample.Instant, m *Map) error {
	p := &s.places[place]
	p.mu.Lock()
	defer p.mu.Unlock()
	best := -1
	g := &p.grid
	for n := g.first(); n < g.next; n++ {
		if o := &g.old[n%oldMaps]; o.at <= at && (best < 0 || o.at > g.old[best%oldMaps].at) {
			best = n
		}
	}
	if best < 0 || at > g.old[best%oldMaps].until {
		return ErrNoMap
	}
	o := &g.old[best%oldMaps]
	*m = Map{At: o.at, Until: o.until, Rows: g.now.Rows, Columns: g.now.Columns, Cells: m.Cells[:0]}
	for _, c := range g.cells(best) {
		v := float32(math.NaN())
		if c != NoCell {
			v = float32(float64(c) * OldMapStep)
		}
		m.Cells = append(m.Cells, v)
	}
	return nil
}
