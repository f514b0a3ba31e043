package applied

import (
	"encoding/hex"
	"math"
	"time"

	"weald/ingest/calib/curve"
	"weald/ingest/calib/record"
	"weald/ingest/sample"
)

// A channel is one that has a record, of which it keeps what converting needs: a
// ward of mats has hundreds of thousands of them, each with its readings and
// candidates, which nobody asks a conversion for.
type channel struct {
	table
	index       int
	id          [16]byte // of the record, which tells it in hexadecimal digits
	made, until sample.Instant
	shared      float64 // mmHg
	drift       float64 // mmHg a day
	day         int     // age in whole days for which the table stands
	moves       *moves  // nil where neither direction nor age of the load matters
}

// A moves is what a channel has of which the motion matters.
type moves struct {
	motion curve.Motion // while it is in no loop
	width  float64
	creep  *curve.Creep
	dwell  float64 // of creep, in decades
}

func newChannel(r *record.Record) *channel {
	c := &r.Calibration
	ch := &channel{
		table: newTable(c), index: r.Channel, made: sample.At(r.At), until: sample.At(r.ValidUntil),
		shared: c.U.Reference, drift: c.U.DriftPerDay,
	}
	if _, err := hex.Decode(ch.id[:], []byte(r.ID())); err != nil {
		panic("applied: the identity of a record is " + r.ID()) // a record of another kind than this package knows
	}
	if c.Unloading != nil || c.Creep != nil {
		ch.moves = &moves{width: c.Width, creep: c.Creep}
		if c.Creep != nil {
			ch.moves.dwell = math.Log10(1 + c.Creep.Dwell)
		}
	}
	if ch.drift == 0 {
		ch.fresh = nil
	}
	return ch
}

func (c *channel) name() string { return hex.EncodeToString(c.id[:]) }

const day = 24 * time.Hour

// grow lets the calibration be as old as it is at an instant.
func (c *channel) grow(at sample.Instant) {
	if days := int(at.Sub(c.made) / day); days > c.day {
		c.grown(days)
	}
}

// grown lets the calibration be so many days old.
func (c *channel) grown(days int) {
	if c.day = days; c.drift != 0 {
		c.age(c.drift * float64(days))
	}
}
