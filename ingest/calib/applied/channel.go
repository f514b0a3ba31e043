package applied

import (
	"math"
	"math/bits"
	"time"

	"weald/ingest/calib/curve"
	"weald/ingest/calib/record"
	"weald/ingest/sample"
)

// A channel is one that has a record.
type channel struct {
	index     int
	low, high float64 // counts; beyond is extrapolated
	shared    float64
	up        table // of every direction, where there is but one curve

	moves       bool // the direction or the age of the load matters
	creep       crept
	down, still table
	motion      curve.Motion

	record *record.Record
	id     string
	day    int // age in whole days for which the tables stand
}

func newChannel(r *record.Record) *channel {
	c := &r.Calibration
	ch := &channel{
		index: r.Channel, record: r, id: r.ID(), low: c.Raw.Low, high: c.Raw.High, shared: c.U.Reference,
		up: newTable(c, curve.Loading), moves: c.Unloading != nil || c.Creep != nil,
	}
	if c.Unloading != nil {
		ch.down, ch.still = newTable(c, curve.Unloading), newTable(c, curve.Still)
	}
	return ch
}

const day = 24 * time.Hour

func (c *channel) age() time.Duration { return time.Duration(c.day) * day }

// grow lets the calibration be as old as it is at an instant.
func (c *channel) grow(at sample.Instant) {
	days := int(at.Sub(sample.At(c.record.At)) / day)
	if days <= c.day {
		return
	}
	c.day = days
	if c.record.Calibration.U.DriftPerDay != 0 {
		c.refill()
	}
}

func (c *channel) refill() {
	cal := &c.record.Calibration
	c.up.fill(cal, curve.Loading, c.age())
	c.down.fill(cal, curve.Unloading, c.age())
	c.still.fill(cal, curve.Still, c.age())
}

// value returns the pressure and the independent uncertainty at a known count in
// a direction.
func (c *channel) value(raw float64, d curve.Direction) (p, u float64) {
	t := &c.up
	if c.record.Calibration.Unloading != nil {
		switch d {
		case curve.Unloading:
			t = &c.down
		case curve.Still:
			t = &c.still
		}
	}
	if t.has(raw) {
		return t.at(raw)
	}
	v := c.record.Calibration.Value(raw, d, c.age())
	return float64(v.MMHg), v.Independent
}

// follow is value for a channel of which the motion matters. A reading that is
// out of order moves nothing.
func (c *channel) follow(at sample.Instant, raw float64, inOrder bool) (p, u float64) {
	cal := &c.record.Calibration
	d, load := curve.Still, time.Duration(0)
	if inOrder {
		up, _ := c.value(raw, curve.Loading)
		d, load = c.motion.Step(at, up, cal.Width)
	}
	p, u = c.value(raw, d)
	if cal.Creep != nil && inOrder {
		c.creep.at(cal.Creep, load)
		p /= c.creep.factor
		u = math.Sqrt(u*u + p*p*c.creep.uu)
	}
	return p, u
}

// A crept is what a creep does at one age of load: a logarithm costs more than all
// else, and a load that stays has the same age for many scans, to what counts.
type crept struct {
	age    time.Duration // -1 is none; what is below does not depend on what was before
	factor float64
	uu     float64 // square of the share of a pressure that its uncertainty is
}

func (c *crept) at(creep *curve.Creep, age time.Duration) {
	if size := bits.Len64(uint64(age)); size > 8 {
		age &^= 1<<(size-8) - 1
	}
	if age == c.age && c.factor != 0 {
		return
	}
	one := creep.Correct(curve.Value{MMHg: 1}, age)
	u := one.Independent / float64(one.MMHg)
	*c = crept{age: age, factor: creep.Factor(age), uu: u * u}
}
