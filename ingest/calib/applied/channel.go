package applied

import (
	"encoding/hex"
	"time"

	"weald/ingest/calib/record"
	"weald/ingest/sample"
)

// A channel is one that has a record, of which it keeps what converting needs: a
// ward of mats has hundreds of thousands of them, each with its readings and
// candidates, which nobody asks a conversion for.
type channel struct {
	table
	index int32
	id    [16]byte // of the record, which tells it in hexadecimal digits
	lot   *lot
}

// A lot is what channels that were calibrated together have in common.
type lot struct {
	made, until   sample.Instant
	drift, shared float64 // mmHg a day, mmHg
	day           int     // age in whole days
}

func lotOf(r *record.Record) lot {
	u := &r.Calibration.U
	return lot{made: sample.At(r.At), until: sample.At(r.ValidUntil), drift: u.DriftPerDay, shared: u.Reference}
}

// same reports whether records of both are of one lot.
func (l lot) same(o lot) bool {
	l.day = o.day
	return l == o
}

func identity(r *record.Record) (id [16]byte) {
	if _, err := hex.Decode(id[:], []byte(r.ID())); err != nil {
		panic("applied: the identity of a record is " + r.ID()) // a record of another kind than this package knows
	}
	return id
}

func (c *channel) name() string { return hex.EncodeToString(c.id[:]) }

const day = 24 * time.Hour

// grow lets the calibrations be as old as they are at an instant.
func (l *lot) grow(at sample.Instant) { l.day = max(l.day, int(at.Sub(l.made)/day)) }

// aged returns the square of what an uncertainty just after calibrating has become.
func (l *lot) aged(u float64) float64 {
	d := l.drift * float64(l.day)
	return float64(u*u) + float64(d*d)
}
