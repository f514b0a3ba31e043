package hold

import (
	"encoding/binary"
	"math"
	"slices"
	"time"

	"weald/ingest/sample"
)

// Forever is an on-delay that is never reached, for holds that only count.
const Forever = time.Duration(1) << 61

// A Turn is one change of one cell.
type Turn struct {
	Cell   int // index into the values given to Set
	Change Change
	Offset time.Duration // from the start of the span
}

// Cells are the holds of many cells that are read together: same limit, same
// durations, one clock. Time and values come in turn:
//
//	turns := c.Advance(span) // the conditions lasted for span
//	c.Set(values)            // and now they are these
//	turns = c.Advance(0)     // which delays of zero notice at once
//
// Cells do the same as one State and one Band for each cell, but a cell costs
// about one comparison a scan as long as its condition stays what it was: its
// accumulators are brought up to date only when the condition turns, when a
// delay is reached, or when somebody asks. It has accumulators only while its
// condition is true or it holds something, as few cells of a mat do.
type Cells struct {
	spec  Spec
	band  Certain
	which []int // the cells judged, ascending; nil for all

	flags []uint8 // by cell: memory, condition, and whether it is raised
	place []int32 // by cell: where it is in held, counting from 1; 0 if it holds nothing
	held  []held  // in no order

	now    time.Duration // time counted so far
	due    time.Duration // nothing changes before this by the passing of time alone
	raised int           // how many cells are raised
	turns  []Turn        // reused
}

// held are the accumulators of a cell.
//
// Invariant: a cell has none only if its condition is not true, it is not raised,
// and nothing that was held still counts. How long such a cell has been unknown
// changes nothing.
type held struct {
	state State         // as of mark
	mark  time.Duration // on the clock now
	cell  int32
}

// What stands in flags. Zero is an unknown condition and no memory.
const (
	memory    uint8 = 3 << 0
	condition uint8 = 3 << 2
	isUnknown uint8 = 0 << 2
	isYes     uint8 = 1 << 2
	isNo      uint8 = 2 << 2
	raised    uint8 = 1 << 4
)

func truth(flags uint8) sample.Truth {
	switch flags & condition {
	case isYes:
		return sample.Yes
	case isNo:
		return sample.No
	}
	return sample.Maybe
}

// NewCells returns holds for n cells, of which those in which are judged; nil
// means all. Every condition is unknown until the first Set.
func NewCells(n int, which []int, spec Spec, band Band) *Cells {
	return NewCertainCells(n, which, spec, band.At(Half))
}

// NewCertainCells is NewCells for a band that is judged with a certainty. Such
// cells take readings by SetWith, unless the certainty is Half.
func NewCertainCells(n int, which []int, spec Spec, band Certain) *Cells {
	return &Cells{
		spec: spec, band: band, which: which,
		flags: make([]uint8, n), place: make([]int32, n),
		due: math.MaxInt64,
	}
}

// Advance lets span pass with every condition as the last Set left it. It
// returns the changes that this brings, by time, raises before clears at the
// same instant, then by cell; the slice is reused by the next call.
func (c *Cells) Advance(span time.Duration) []Turn {
	start := c.now
	c.now += span
	c.turns = c.turns[:0]
	if c.now < c.due {
		return nil
	}
	c.due = math.MaxInt64
	for k := range c.held {
		h := &c.held[k]
		cond := truth(c.flags[h.cell])
		need, ok := h.state.Next(&c.spec, cond)
		if !ok {
			continue
		}
		if at := grow(h.mark, need); at > c.now {
			c.due = min(c.due, at)
			continue
		}
		change, off := h.state.Advance(&c.spec, c.now-h.mark, cond)
		c.took(int(h.cell), change, h.mark+off-start)
		h.mark = c.now
	}
	slices.SortFunc(c.turns, func(a, b Turn) int {
		switch {
		case a.Offset != b.Offset:
			return int(min(1, max(-1, a.Offset-b.Offset)))
		case a.Change != b.Change:
			return int(a.Change) - int(b.Change)
		}
		return a.Cell - b.Cell
	})
	return c.turns
}

// Set takes a reading of all cells: mmHg, NaN unknown, one value a cell.
func (c *Cells) Set(values []float64) {
	switch {
	case c.which != nil:
		c.setSome(values)
	case math.IsInf(c.band.lo[0], -1):
		c.setAbove(values)
	default:
		c.setAll(values)
	}
}

// SetWith is Set for readings with their standard uncertainties, one a cell, NaN
// where it is not known.
func (c *Cells) SetWith(values, us []float64) {
	if c.band.Plain() {
		c.Set(values)
		return
	}
	judge := func(i int) {
		f := c.flags[i]
		cond, m := c.band.Judge(values[i], us[i], Memory(f&memory))
		if next := encode(cond) | uint8(m); next != f&^raised {
			c.turn(i, next)
		}
	}
	if c.which != nil {
		for _, i := range c.which {
			judge(i)
		}
		return
	}
	for i := range values {
		judge(i)
	}
}

// setAbove is setAll for a limit that has no lower side, as nearly all have. Eight
// cells are looked at together, and are done if all go on as they are: neighbours on
// a mat mostly are the same, and then one comparison each is enough.
func (c *Cells) setAbove(values []float64) {
	flags := c.flags[:len(values)]
	enter, stay := c.band.hi[0], c.band.hi[1]
	first := 0
	for ; len(values)-first >= 8; first += 8 {
		v := (*[8]float64)(values[first:])
		on := false
		switch was := binary.LittleEndian.Uint64(flags[first:]) &^ (eight * uint64(raised)); was {
		case eight * uint64(isNo):
			on = v[0] <= enter && v[1] <= enter && v[2] <= enter && v[3] <= enter &&
				v[4] <= enter && v[5] <= enter && v[6] <= enter && v[7] <= enter
		case eight * uint64(yesAbove):
			on = v[0] > stay && v[1] > stay && v[2] > stay && v[3] > stay &&
				v[4] > stay && v[5] > stay && v[6] > stay && v[7] > stay
		default:
			yes := was & (eight * uint64(isYes)) >> 2 // of each that it is, a one
			if was != yes*uint64(yesAbove)|(eight-yes)*uint64(isNo) {
				break // one is unknown
			}
			now := above(v, enter)
			if enter != stay {
				now |= above(v, stay) & yes
			}
			sum := (v[0] + v[1] + v[2] + v[3]) + (v[4] + v[5] + v[6] + v[7])
			on = now == yes && sum == sum
		}
		if !on {
			c.eachAbove(first, v[:])
		}
	}
	c.eachAbove(first, values[first:])
}

// eight times what a byte is, is what eight of them are.
const eight = 0x0101010101010101

// yesAbove is what stands in the flags of a cell that is above the limit.
const yesAbove = isYes | uint8(wasAbove)

// above returns a byte for each of v, the first the lowest: 1 if it is above limit.
// It has no branches, for where neighbours differ nobody can foresee them.
func above(v *[8]float64, limit float64) uint64 {
	one := func(v float64) (is uint64) {
		if v > limit {
			is = 1
		}
		return is
	}
	return (one(v[0]) | one(v[1])<<8 | one(v[2])<<16 | one(v[3])<<24) |
		(one(v[4])<<32 | one(v[5])<<40 | one(v[6])<<48 | one(v[7])<<56)
}

// eachAbove looks at the cells from first on one by one.
func (c *Cells) eachAbove(first int, values []float64) {
	hi := c.band.hi
	flags := c.flags[first:][:len(values)]
	for i, v := range values {
		f, next := flags[i], isNo
		switch {
		case v > hi[f&1]:
			next = yesAbove
		case v != v:
			next = isUnknown | f&memory
		}
		if next != f&^raised {
			c.turn(first+i, next)
		}
	}
}

func (c *Cells) setAll(values []float64) {
	hi, lo := c.band.hi, c.band.lo
	flags := c.flags[:len(values)]
	for i, v := range values {
		f := flags[i]
		next := isNo
		switch {
		case v > hi[f&1]:
			next = isYes | uint8(wasAbove)
		case v < lo[f>>1&1]:
			next = isYes | uint8(wasBelow)
		case v != v:
			next = isUnknown | f&memory
		}
		if next != f&^raised {
			c.turn(i, next)
		}
	}
}

func (c *Cells) setSome(values []float64) {
	for _, i := range c.which {
		f := c.flags[i]
		cond, m := c.band.Band.Judge(values[i], Memory(f&memory))
		if next := encode(cond) | uint8(m); next != f&^raised {
			c.turn(i, next)
		}
	}
}

// Silence makes every condition unknown, as when a source has said nothing for
// too long. A delay of zero that Advance has not yet noticed goes unnoticed.
func (c *Cells) Silence() {
	for i, f := range c.flags {
		if f&condition != isUnknown {
			c.turn(i, f&memory|isUnknown)
		}
	}
}

func encode(t sample.Truth) uint8 {
	switch t {
	case sample.Yes:
		return isYes
	case sample.No:
		return isNo
	}
	return isUnknown
}

// turn brings cell i up to date under its former condition and starts the next.
func (c *Cells) turn(i int, next uint8) {
	was := c.flags[i]
	c.flags[i] = next | was&raised
	before, after := truth(was), truth(next)
	if before == after {
		return
	}
	if c.place[i] == 0 {
		if after != sample.Yes {
			return
		}
		c.take(i)
	}
	h := &c.held[c.place[i]-1]
	c.catchUp(h, before) // dues up to now are done, so this raises and clears nothing
	if after != sample.Yes && h.state.idle() {
		c.release(i)
		return
	}
	if need, ok := h.state.Next(&c.spec, after); ok {
		c.due = min(c.due, grow(c.now, need))
	}
}

// catchUp brings accumulators up to now. A condition that lasted no time never
// was.
func (c *Cells) catchUp(h *held, cond sample.Truth) {
	if span := c.now - h.mark; span > 0 {
		h.state.Advance(&c.spec, span, cond)
	}
	h.mark = c.now
}

// idle reports whether a hold is as good as one that has seen nothing, but for
// what its condition will bring.
func (s *State) idle() bool { return !s.Raised && s.Held == 0 }

// take gives a cell accumulators. Where more would be needed than there are, those
// go first that have come to nothing in the meantime.
func (c *Cells) take(i int) {
	if len(c.held) == cap(c.held) {
		for k := len(c.held) - 1; k >= 0; k-- {
			h := &c.held[k]
			if cond := truth(c.flags[h.cell]); cond != sample.Yes && !h.state.Raised {
				if c.catchUp(h, cond); h.state.idle() {
					c.release(int(h.cell))
				}
			}
		}
	}
	c.held = append(c.held, held{mark: c.now, cell: int32(i)})
	c.place[i] = int32(len(c.held))
}

// release takes the accumulators of a cell away.
func (c *Cells) release(i int) {
	k, last := int(c.place[i])-1, len(c.held)-1
	c.held[k] = c.held[last]
	c.place[c.held[k].cell] = int32(k + 1)
	c.held, c.place[i] = c.held[:last], 0
}

func (c *Cells) took(cell int, change Change, offset time.Duration) {
	switch change {
	case None:
		return
	case Raised:
		c.raised++
		c.flags[cell] |= raised
	case Cleared:
		c.raised--
		c.flags[cell] &^= raised
	}
	c.turns = append(c.turns, Turn{cell, change, offset})
}

// Next returns how much more time must pass, with every condition as it is,
// before Advance may have a change to tell. It may be early, never late; false
// if time alone will change nothing.
func (c *Cells) Next() (time.Duration, bool) {
	if c.due == math.MaxInt64 {
		return 0, false
	}
	return c.due - c.now, true
}

// State returns the hold of one cell as it is now, and its condition. For how long
// a cell that holds nothing has been unknown is not told.
func (c *Cells) State(cell int) (State, sample.Truth) {
	cond := truth(c.flags[cell])
	if c.place[cell] == 0 {
		return State{}, cond
	}
	h := c.held[c.place[cell]-1]
	c.catchUp(&h, cond)
	return h.state, cond
}

// Held fills dst, which is grown as needed, with what State tells of each cell as
// Held. It costs little more than those cells that hold something.
func (c *Cells) Held(dst []time.Duration) []time.Duration {
	dst = slices.Grow(dst[:0], len(c.flags))[:len(c.flags)]
	clear(dst)
	for _, h := range c.held {
		c.catchUp(&h, truth(c.flags[h.cell]))
		dst[h.cell] = h.state.Held
	}
	return dst
}

// Raised returns how many cells are raised.
func (c *Cells) Raised() int { return c.raised }

// RaisedKnown returns the first of the given cells that is raised and has a
// value; or else the first that is raised, and false; -1 if none is.
func (c *Cells) RaisedKnown(cells []int) (cell int, known bool) {
	cell = -1
	for _, i := range cells {
		switch f := c.flags[i]; {
		case f&raised == 0:
		case f&condition != isUnknown:
			return i, true
		case cell < 0:
			cell = i
		}
	}
	return cell, false
}
