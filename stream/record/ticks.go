package record

import (
	"encoding/binary"
	"fmt"

	"weald/ingest/sample"
)

// Ticks are the ticks that were kept together. They are numbered like the
// blocks of a source.
type Ticks struct {
	Number uint64
	Ticks  []Tick // with ascending ordinals
}

// ticksVersion is the version in which ticks are written.
//
// Version 1, after form and version: the number, how many ticks and how many
// places (uvarint each); the places (text), in the order in which they first
// appear; then for each tick its ordinal less the one before it, less 1
// (uvarint), the index of its place (uvarint), and its instant less the one
// before it (varint).
const ticksVersion = 1

// Check returns an error that wraps ErrInvalid if t cannot be encoded.
func (t *Ticks) Check() error {
	if len(t.Ticks) == 0 {
		return fmt.Errorf("ticks %w: there are none", ErrInvalid)
	}
	var ord uint64
	for i := range t.Ticks {
		if t.Ticks[i].Ord <= ord {
			return fmt.Errorf("ticks %w: ordinal %d does not ascend", ErrInvalid, t.Ticks[i].Ord)
		}
		ord = t.Ticks[i].Ord
	}
	return nil
}

// Ords returns the ordinals of the first and the last tick.
func (t *Ticks) Ords() (first, last uint64) {
	return t.Ticks[0].Ord, t.Ticks[len(t.Ticks)-1].Ord
}

// Span returns the earliest and the latest instant.
func (t *Ticks) Span() (first, last sample.Instant) {
	first, last = t.Ticks[0].At, t.Ticks[0].At
	for i := range t.Ticks {
		first, last = min(first, t.Ticks[i].At), max(last, t.Ticks[i].At)
	}
	return first, last
}

// Append appends the encoding of t to dst. Its errors are those of Check.
func (t *Ticks) Append(dst []byte) ([]byte, error) {
	if err := t.Check(); err != nil {
		return dst, err
	}
	index := map[string]uint64{}
	var places []string
	for i := range t.Ticks {
		p := t.Ticks[i].Place
		if _, ok := index[p]; !ok {
			index[p] = uint64(len(places))
			places = append(places, p)
		}
	}
	start := len(dst)
	dst = begin(dst, FormTicks, ticksVersion)
	dst = binary.AppendUvarint(dst, t.Number)
	dst = binary.AppendUvarint(dst, uint64(len(t.Ticks)))
	dst = binary.AppendUvarint(dst, uint64(len(places)))
	for _, p := range places {
		dst = appendText(dst, p)
	}
	var ord uint64
	var at sample.Instant
	for _, k := range t.Ticks {
		dst = binary.AppendUvarint(dst, k.Ord-ord-1)
		dst = binary.AppendUvarint(dst, index[k.Place])
		dst = binary.AppendVarint(dst, int64(k.At-at))
		ord, at = k.Ord, k.At
	}
	return seal(dst, start), nil
}

// DecodeTicks is the inverse of Append. Its errors wrap ErrDamaged, ErrNewer or
// ErrForm.
func DecodeTicks(b []byte) (*Ticks, error) {
	_, in, err := content(b, FormTicks, ticksVersion)
	if err != nil {
		return nil, fmt.Errorf("ticks: %w", err)
	}
	c := &cursor{b: in}
	t := &Ticks{Number: c.uvarint()}
	n, m := c.uvarint(), c.uvarint()
	if c.bad || n > uint64(len(c.b)) || m > n {
		return nil, fmt.Errorf("%d ticks of %d places: %w", n, m, ErrDamaged)
	}
	places := make([]string, m)
	for i := range places {
		places[i] = c.text()
	}
	t.Ticks = make([]Tick, n)
	var ord uint64
	var at sample.Instant
	for i := range t.Ticks {
		ord += c.uvarint() + 1
		k := c.uvarint()
		at += sample.Instant(c.varint())
		if c.bad || k >= m {
			return nil, fmt.Errorf("tick %d of %d: %w", i, n, ErrDamaged)
		}
		t.Ticks[i] = Tick{Ord: ord, Place: places[k], At: at}
	}
	if err := c.end("ticks"); err != nil {
		return nil, err
	}
	if err := t.Check(); err != nil {
		return nil, fmt.Errorf("%w: %w", err, ErrDamaged)
	}
	return t, nil
}
