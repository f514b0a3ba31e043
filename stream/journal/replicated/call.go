package replicated

import (
	"encoding/binary"
	"fmt"

	"weald/stream/record"
)

// A call is one change of the record: what one of the methods is given. Only what
// belongs to that method is set; nothing is, where a writer claims its turn.
type call struct {
	entries   []record.Entry
	blocks    []record.Block
	ticks     []record.Tick
	document  *record.Document // the version before
	snapshot  *record.Snapshot
	stretches []record.Stretch
}

// callVersion is the version in which calls are written. Version 1: this byte, then of
// each thing its length in bytes (uvarint) and the thing in its encoding, which says what
// it is and has a checksum.
const callVersion = 1

// append appends the encoding of c to dst. Its errors wrap record.ErrInvalid.
func (c *call) append(dst []byte) ([]byte, error) {
	dst = append(dst, callVersion)
	var body []byte
	var err error
	add := func(encode func([]byte) ([]byte, error)) {
		if err != nil {
			return
		}
		if body, err = encode(body[:0]); err == nil {
			dst = append(binary.AppendUvarint(dst, uint64(len(body))), body...)
		}
	}
	for i := range c.entries {
		add(c.entries[i].Append)
	}
	for i := range c.blocks {
		add(c.blocks[i].Append)
	}
	if len(c.ticks) > 0 {
		add((&record.Ticks{Ticks: c.ticks}).Append)
	}
	if c.document != nil {
		next := *c.document
		next.Version++
		add(next.Append)
	}
	if c.snapshot != nil {
		add(c.snapshot.Append)
	}
	for i := range c.stretches {
		add(c.stretches[i].Append)
	}
	return dst, err
}

// decode is the inverse of append. Its errors wrap record.ErrDamaged, record.ErrNewer or
// record.ErrForm.
func decode(b []byte) (*call, error) {
	switch {
	case len(b) == 0:
		return nil, fmt.Errorf("an empty message: %w", record.ErrDamaged)
	case b[0] > callVersion:
		return nil, fmt.Errorf("call of version %d, known up to %d: %w", b[0], callVersion, record.ErrNewer)
	case b[0] == 0:
		return nil, fmt.Errorf("call of version 0: %w", record.ErrDamaged)
	}
	c := &call{}
	for b = b[1:]; len(b) > 0; {
		n, width := binary.Uvarint(b)
		if width <= 0 || n > uint64(len(b)-width) {
			return nil, fmt.Errorf("call that ends early: %w", record.ErrDamaged)
		}
		body := b[width : width+int(n)]
		b = b[width+int(n):]
		if err := c.take(body); err != nil {
			return nil, err
		}
	}
	if c.methods() > 1 {
		return nil, fmt.Errorf("a call of several methods: %w", record.ErrDamaged)
	}
	return c, nil
}

// methods is how many methods a call is of: one, or none where a writer claims its turn.
func (c *call) methods() (n int) {
	for _, is := range []bool{len(c.entries) > 0, len(c.blocks)+len(c.ticks) > 0, c.document != nil, c.snapshot != nil, len(c.stretches) > 0} {
		if is {
			n++
		}
	}
	return n
}

// empty reports whether a call changes nothing.
func (c *call) empty() bool { return c.methods() == 0 }

// take adds a thing to a call.
func (c *call) take(body []byte) error {
	form, err := record.FormOf(body)
	if err != nil {
		return err
	}
	switch form {
	case record.FormEntry:
		e, err := record.DecodeEntry(body)
		c.entries = append(c.entries, e)
		return err
	case record.FormBlock:
		block, err := record.DecodeBlock(body)
		if err == nil {
			c.blocks = append(c.blocks, *block)
		}
		return err
	case record.FormTicks:
		t, err := record.DecodeTicks(body)
		if err == nil {
			c.ticks = append(c.ticks, t.Ticks...)
		}
		return err
	case record.FormDocument:
		d, err := record.DecodeDocument(body)
		if err == nil && (d.Version == 0 || c.document != nil) {
			err = fmt.Errorf("document %s of version %d, which is none to put: %w", d.Name, d.Version, record.ErrDamaged)
		}
		d.Version--
		c.document = &d
		return err
	case record.FormSnapshot:
		s, err := record.DecodeSnapshot(body)
		if err == nil && c.snapshot != nil {
			err = fmt.Errorf("two snapshots in a call: %w", record.ErrDamaged)
		}
		c.snapshot = &s
		return err
	case record.FormStretch:
		s, err := record.DecodeStretch(body)
		if err == nil {
			c.stretches = append(c.stretches, *s)
		}
		return err
	}
	return fmt.Errorf("a %q in a call: %w", byte(form), record.ErrForm)
}
