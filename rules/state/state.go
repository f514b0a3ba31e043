// Package state writes the state of trackers as bytes and reads it again, so
// that it survives a restart.
//
// A type says once what its state is, in a method that hands every field to a
// Codec; the Codec writes it or fills it. Numbers are little-endian and have a
// fixed size, NaN keeps its bits. What does not change after a tracker was made
// is no state; the reader is made with the same settings.
package state

import (
	"encoding/binary"
	"errors"
	"math"
	"time"

	"weald/ingest/sample"
)

// ErrSnapshot is the error of bytes that are no state of what reads them.
var ErrSnapshot = errors.New("state: not a snapshot of this")

// A Codec writes or reads. Once something is missing it is bad, and fills
// nothing more.
type Codec struct {
	b       []byte
	reading bool
	bad     bool
}

// A Coder hands its state to a Codec, field by field, in the same order for
// writing and reading.
type Coder interface{ Code(*Codec) }

// Append writes the state of x behind b.
func Append(b []byte, x Coder) []byte {
	c := Codec{b: b}
	x.Code(&c)
	return c.b
}

// Read fills x from the beginning of b and returns the rest. After an error x is
// in no order and must not be used.
func Read(b []byte, x Coder) (rest []byte, err error) {
	c := Codec{b: b, reading: true}
	if x.Code(&c); c.bad {
		return nil, ErrSnapshot
	}
	return c.b, nil
}

// Reading reports whether fields are being filled.
func (c *Codec) Reading() bool { return c.reading }

// Refuse says that what was read makes no sense.
func (c *Codec) Refuse() { c.bad = true }

func (c *Codec) word(v uint64) uint64 {
	switch {
	case !c.reading:
		c.b = binary.LittleEndian.AppendUint64(c.b, v)
	case c.bad || len(c.b) < 8:
		c.bad = true
	default:
		v = binary.LittleEndian.Uint64(c.b)
		c.b = c.b[8:]
	}
	return v
}

// Float writes or fills a number.
func (c *Codec) Float(v *float64) { *v = math.Float64frombits(c.word(math.Float64bits(*v))) }

// Floats writes or fills the elements of v, the number of which is no state.
func (c *Codec) Floats(v []float64) {
	for i := range v {
		c.Float(&v[i])
	}
}

// Int writes or fills a whole number; one outside of least to most is refused.
func (c *Codec) Int(v *int, least, most int) {
	got := int(c.word(uint64(*v)))
	if got < least || got > most {
		c.bad = true
		return
	}
	*v = got
}

// Int64 writes or fills a whole number of any size.
func (c *Codec) Int64(v *int64) { *v = int64(c.word(uint64(*v))) }

// Duration writes or fills a duration.
func (c *Codec) Duration(v *time.Duration) { *v = time.Duration(c.word(uint64(*v))) }

// Instant writes or fills an instant.
func (c *Codec) Instant(v *sample.Instant) { *v = sample.Instant(c.word(uint64(*v))) }

// Truth writes or fills a truth.
func (c *Codec) Truth(v *sample.Truth) {
	n := int(*v)
	c.Int(&n, int(sample.No), int(sample.Yes))
	*v = sample.Truth(n)
}

// Bool writes or fills a flag.
func (c *Codec) Bool(v *bool) {
	n := 0
	if *v {
		n = 1
	}
	c.Int(&n, 0, 1)
	*v = n == 1
}

// Bytes hands what is left to f, which reads its part and returns the rest; or,
// when writing, writes what w appends.
func (c *Codec) Bytes(w func([]byte) []byte, r func([]byte) ([]byte, error)) {
	if !c.reading {
		c.b = w(c.b)
		return
	}
	if c.bad {
		return
	}
	rest, err := r(c.b)
	if c.b = rest; err != nil {
		c.bad = true
	}
}
