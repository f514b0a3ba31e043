package capture

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"iter"

	"weald/ingest/sample"
)

// ErrTorn says that the file ends inside a record. All records before it are
// good, and were yielded.
var ErrTorn = errors.New("the capture was cut short")

// ErrNoCapture says that the input does not begin like a capture file.
var ErrNoCapture = errors.New("not a capture file")

// A CorruptError is a record that is not what was written.
type CorruptError struct {
	Record int64 // counted from 1
	Offset int64 // of its first byte in the file
	What   string
}

// Error says which record and what is wrong with it.
func (e *CorruptError) Error() string {
	return fmt.Sprintf("capture record %d at byte %d: %s", e.Record, e.Offset, e.What)
}

// A Record is what one read of the link gave.
type Record struct {
	At    sample.Instant // arrival
	Bytes []byte         // empty: a new connection began
	Again bool           // the link marked them as ones that may have come before
}

// Begins reports whether what r holds begins like a capture file. It uses up
// nothing.
func Begins(r *bufio.Reader) bool {
	b, _ := r.Peek(len(magic)) // what is shorter is none
	return string(b) == magic
}

// A Reader reads a capture file in one pass.
type Reader struct {
	header Header
	r      io.Reader

	buf         []byte // buf[start:end] is read and not yet used
	start, end  int
	offset      int64 // in the file, of buf[start]
	ended       bool  // r has nothing more
	records     int64 // begun so far
	lastCorrupt bool  // the record before was refused
}

// readSize is about how much is asked of the underlying reader at a time: so
// much that system calls cost nothing, so little that it stays in the cache.
const readSize = 256 << 10

// NewReader reads the header of r. It returns an error that wraps ErrNoCapture
// for anything else than a capture, and one that wraps ErrTorn for a file that
// ends in its header.
func NewReader(r io.Reader) (*Reader, error) {
	c := &Reader{r: r, buf: make([]byte, readSize)}
	if err := c.fill(len(magic)); err != nil {
		return nil, err
	}
	have := c.buf[:min(c.end, len(magic))]
	if string(have) != magic[:len(have)] {
		return nil, ErrNoCapture
	}
	if len(have) < len(magic) {
		return nil, fmt.Errorf("%w in its header", ErrTorn)
	}
	for want := 512; ; want *= 2 {
		if err := c.fill(want); err != nil {
			return nil, err
		}
		line := c.buf[len(magic):c.end]
		n := bytes.IndexByte(line, '\n')
		switch {
		case n >= 0:
			if err := json.Unmarshal(line[:n], &c.header); err != nil {
				return nil, fmt.Errorf("capture header: %w", err)
			}
			c.skip(len(magic) + n + 1)
			return c, nil
		case len(line) > maxHeader:
			return nil, fmt.Errorf("%w: its header has no end", ErrNoCapture)
		case c.ended:
			return nil, fmt.Errorf("%w in its header", ErrTorn)
		}
	}
}

// Header says where the bytes came from.
func (c *Reader) Header() Header { return c.header }

// Offset is how far into the file the reading has come, in bytes.
func (c *Reader) Offset() int64 { return c.offset }

// Records yields each record in the order written, as Next returns them, up to
// and with the first error that no more can follow; the end of the file is none.
// An error comes with an empty record.
func (c *Reader) Records() iter.Seq2[Record, error] {
	return func(yield func(Record, error) bool) {
		for {
			rec, err := c.Next()
			if err == io.EOF || !yield(rec, err) {
				return
			}
			if _, corrupt := errors.AsType[*CorruptError](err); err != nil && !corrupt {
				return
			}
		}
	}
}

// Next returns the next record. Its bytes are valid until Next is called again,
// and it costs no allocation.
//
// At the end of the file the error is io.EOF, at a cut one that wraps ErrTorn,
// else a *CorruptError or whatever the underlying reader returned. After a
// *CorruptError Next may be called again: where the next record can be found,
// the damaged one alone is lost, and otherwise io.EOF follows.
func (c *Reader) Next() (Record, error) {
	n := c.records + 1
	if err := c.fill(prefix); err != nil {
		return Record{}, err
	}
	have := c.buf[c.start:c.end]
	if len(have) == 0 {
		return Record{}, io.EOF
	}
	c.records = n
	if len(have) < prefix {
		return Record{}, fmt.Errorf("%w in record %d at byte %d", ErrTorn, n, c.offset)
	}
	length := binary.LittleEndian.Uint32(have[8:])
	marked := length&again != 0
	length &^= again
	if length > MaxRecord {
		// Where the length is wrong nothing leads to the next record.
		err := &CorruptError{n, c.offset, fmt.Sprintf("its length is %d, and none is over %d; what follows is lost", length, MaxRecord)}
		c.giveUp()
		return Record{}, err
	}
	size := prefix + int(length) + suffix
	if err := c.fill(size); err != nil {
		return Record{}, err
	}
	have = c.buf[c.start:c.end]
	if len(have) < size {
		return Record{}, fmt.Errorf("%w in record %d at byte %d", ErrTorn, n, c.offset)
	}
	body := have[:size-suffix]
	if crc32.Checksum(body, castagnoli) != binary.LittleEndian.Uint32(have[size-suffix:]) {
		err := &CorruptError{n, c.offset, "its checksum is wrong"}
		if c.lastCorrupt {
			err.What += ", and so was the one before; what follows is lost"
			c.giveUp()
		} else {
			c.skip(size)
		}
		c.lastCorrupt = true
		return Record{}, err
	}
	c.lastCorrupt = false
	c.skip(size)
	return Record{sample.Instant(binary.LittleEndian.Uint64(body)), body[prefix:], marked}, nil
}

// skip marks n bytes as used.
func (c *Reader) skip(n int) {
	c.start += n
	c.offset += int64(n)
}

// giveUp makes the next fill find the end of the file.
func (c *Reader) giveUp() {
	c.start, c.end, c.ended = 0, 0, true
}

// fill reads until n bytes are at hand or the file ends. Bytes are moved only
// when the rest of the buffer is too short for them, and the buffer grows only
// for a record that is larger than any before.
func (c *Reader) fill(n int) error {
	if n > len(c.buf) {
		grown := make([]byte, n+readSize)
		c.start, c.end = 0, copy(grown, c.buf[c.start:c.end])
		c.buf = grown
	}
	for c.end-c.start < n && !c.ended {
		if len(c.buf)-c.start < n {
			copy(c.buf, c.buf[c.start:c.end])
			c.start, c.end = 0, c.end-c.start
		}
		got, err := c.r.Read(c.buf[c.end:])
		c.end += got
		switch {
		case err == io.EOF:
			c.ended = true
		case err != nil:
			return fmt.Errorf("reading the capture: %w", err)
		}
	}
	return nil
}
