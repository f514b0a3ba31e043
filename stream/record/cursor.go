package record

import (
	"encoding/binary"
	"fmt"
	"math"
)

// A cursor reads a content from front to back. After the first thing that is
// not there it is bad and gives zeros: who reads asks once, at the end.
type cursor struct {
	b   []byte
	bad bool
}

func (c *cursor) uvarint() uint64 {
	v, n := binary.Uvarint(c.b)
	if n <= 0 {
		c.bad, c.b = true, nil
		return 0
	}
	c.b = c.b[n:]
	return v
}

func (c *cursor) varint() int64 {
	v, n := binary.Varint(c.b)
	if n <= 0 {
		c.bad, c.b = true, nil
		return 0
	}
	c.b = c.b[n:]
	return v
}

// take returns the next n bytes, which stay those of the content.
func (c *cursor) take(n uint64) []byte {
	if n > uint64(len(c.b)) {
		c.bad, c.b = true, nil
		return nil
	}
	v := c.b[:n]
	c.b = c.b[n:]
	return v
}

func (c *cursor) byte() byte {
	if v := c.take(1); v != nil {
		return v[0]
	}
	return 0
}

func (c *cursor) text() string { return string(c.take(c.uvarint())) }

func (c *cursor) float() float64 {
	if v := c.take(8); v != nil {
		return math.Float64frombits(binary.LittleEndian.Uint64(v))
	}
	return 0
}

// end returns ErrDamaged if something was missing or is left over.
func (c *cursor) end(what string) error {
	switch {
	case c.bad:
		return fmt.Errorf("%s ends too early: %w", what, ErrDamaged)
	case len(c.b) > 0:
		return fmt.Errorf("%s has %d bytes too many: %w", what, len(c.b), ErrDamaged)
	}
	return nil
}

func appendText(dst []byte, s string) []byte {
	return append(binary.AppendUvarint(dst, uint64(len(s))), s...)
}

func appendFloat(dst []byte, v float64) []byte {
	return binary.LittleEndian.AppendUint64(dst, math.Float64bits(v))
}
