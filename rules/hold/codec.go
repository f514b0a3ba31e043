package hold

import (
	"encoding/binary"
	"errors"
	"math"
	"time"

	"weald/ingest/sample"
)

// ErrSnapshot is returned for bytes that are no snapshot of what is to be
// restored.
var ErrSnapshot = errors.New("not a snapshot of this hold")

// Append adds s to b in the form that ReadState reads.
func (s *State) Append(b []byte) []byte {
	raised := byte(0)
	if s.Raised {
		raised = 1
	}
	b = append(b, raised)
	for _, d := range [...]time.Duration{s.Held, s.Released, s.Off, s.Silent} {
		b = binary.AppendUvarint(b, uint64(d))
	}
	return b
}

// ReadState reads a State from the beginning of b and returns the rest.
func ReadState(b []byte) (s State, rest []byte, err error) {
	if len(b) == 0 || b[0] > 1 {
		return State{}, nil, ErrSnapshot
	}
	s.Raised = b[0] == 1
	b = b[1:]
	for _, d := range [...]*time.Duration{&s.Held, &s.Released, &s.Off, &s.Silent} {
		if *d, b, err = readDuration(b); err != nil {
			return State{}, nil, err
		}
	}
	if s.Check() != nil {
		return State{}, nil, ErrSnapshot
	}
	return s, b, nil
}

func readDuration(b []byte) (time.Duration, []byte, error) {
	v, n := binary.Uvarint(b)
	if n <= 0 || v > math.MaxInt64 {
		return 0, nil, ErrSnapshot
	}
	return time.Duration(v), b[n:], nil
}

// Append adds the holds of all cells to b in the form that Read reads. Cells
// that hold nothing, as most do, cost one byte each.
func (c *Cells) Append(b []byte) []byte {
	b = binary.AppendUvarint(b, uint64(len(c.flags)))
	b = append(b, c.flags...)
	for i := range c.flags {
		// What holds nothing may still have accumulators, and be none the wiser.
		if s, cond := c.State(i); s != (State{}) && (cond == sample.Yes || !s.idle()) {
			b = binary.AppendUvarint(b, uint64(i)+1)
			b = s.Append(b)
		}
	}
	b = append(b, 0)
	// When the next change may be due is kept as it stands, early as it may
	// be: to look at an instant is to move to it, and that must happen again.
	if in, ok := c.Next(); ok {
		return binary.AppendUvarint(b, uint64(in)+1)
	}
	return append(b, 0)
}

// Read restores what Append wrote from the beginning of b and returns the rest.
// After an error the holds are as NewCells made them.
func (c *Cells) Read(b []byte) (rest []byte, err error) {
	fresh := NewCertainCells(len(c.flags), c.which, c.spec, c.band)
	rest, err = fresh.read(b)
	if err != nil {
		fresh = NewCertainCells(len(c.flags), c.which, c.spec, c.band)
	}
	*c = *fresh
	return rest, err
}

func (c *Cells) read(b []byte) ([]byte, error) {
	n, k := binary.Uvarint(b)
	if k <= 0 || n != uint64(len(c.flags)) || len(b)-k < len(c.flags) {
		return nil, ErrSnapshot
	}
	copy(c.flags, b[k:])
	b = b[k+len(c.flags):]
	for i, f := range c.flags {
		if f&^(memory|condition|raised) != 0 || f&condition > isNo {
			return nil, ErrSnapshot
		}
		if f&condition == isYes {
			c.take(i)
		}
	}
	for {
		cell, k := binary.Uvarint(b)
		if k <= 0 || cell > uint64(len(c.flags)) {
			return nil, ErrSnapshot
		}
		if b = b[k:]; cell == 0 {
			break
		}
		s, rest, err := ReadState(b)
		if err != nil {
			return nil, err
		}
		b = rest
		i := int(cell - 1)
		if c.place[i] == 0 {
			if s.idle() {
				continue // it has been unknown for long
			}
			c.take(i)
		}
		c.held[c.place[i]-1].state = s
	}
	for i, f := range c.flags {
		s := State{}
		if c.place[i] > 0 {
			s = c.held[c.place[i]-1].state
		}
		if (f&raised != 0) != s.Raised || s.Held > c.spec.OnDelay || s.Off > c.spec.OffDelay {
			return nil, ErrSnapshot // a delay that is passed has been noticed
		}
		if s.Raised {
			c.raised++
		}
		if need, ok := s.Next(&c.spec, truth(f)); ok {
			c.due = min(c.due, c.now+need)
		}
	}
	in, k := binary.Uvarint(b)
	if k <= 0 || in > math.MaxInt64 {
		return nil, ErrSnapshot
	}
	if in > 0 {
		c.due = min(c.due, time.Duration(in-1))
	}
	return b[k:], nil
}
