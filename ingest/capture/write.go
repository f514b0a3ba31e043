package capture

import (
	"bufio"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"hash/crc32"
	"io"
	"os"
	"path/filepath"
	"strings"

	"weald/ingest/sample"
)

// A Writer appends records. It is for one goroutine.
type Writer struct {
	w    *bufio.Writer
	file *os.File // nil where the Writer has no file of its own
	size int64
	err  error // the first failure; after it nothing is written
	head [prefix]byte
	tail [suffix]byte
}

// NewWriter writes the header to w and returns a Writer for the records. w sees
// them when the buffer is full and at Flush.
func NewWriter(w io.Writer, h Header) (*Writer, error) {
	line, err := json.Marshal(h)
	if err != nil {
		return nil, fmt.Errorf("capture header: %w", err)
	}
	c := &Writer{w: bufio.NewWriterSize(w, 64<<10)}
	c.put([]byte(magic))
	c.put(line)
	c.put([]byte{'\n'})
	return c, c.Flush()
}

// Create makes a new file for a capture at path, readable by its owner only,
// as it holds what a person's body did. A file that is already there is left as
// it is: the new one gets the starting time in its name.
func Create(path string, h Header) (*Writer, error) {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if os.IsExist(err) {
		ext := filepath.Ext(path)
		next := strings.TrimSuffix(path, ext) + "-" + h.Started.UTC().Format("20060102T150405.000Z") + ext
		f, err = os.OpenFile(next, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	}
	if err != nil {
		return nil, fmt.Errorf("capture: %w", err)
	}
	c, err := NewWriter(f, h)
	if err != nil {
		f.Close()
		return nil, err
	}
	c.file = f
	return c, nil
}

// Name is the path of the file, empty where the Writer has none.
func (c *Writer) Name() string {
	if c.file == nil {
		return ""
	}
	return c.file.Name()
}

// Size is the number of bytes written so far, header included.
func (c *Writer) Size() int64 { return c.size }

// Record appends what one read gave. Bytes beyond MaxRecord go into a record of
// their own, with the same arrival. It returns the first error of the Writer's
// life.
func (c *Writer) Record(at sample.Instant, p []byte) error { return c.records(at, p, 0) }

// Again is Record for what the link marked as bytes that may have come before.
func (c *Writer) Again(at sample.Instant, p []byte) error { return c.records(at, p, again) }

func (c *Writer) records(at sample.Instant, p []byte, mark uint32) error {
	for {
		n := min(len(p), MaxRecord)
		c.record(at, p[:n], mark)
		if p = p[n:]; len(p) == 0 {
			return c.err
		}
	}
}

// Connected marks the beginning of a new connection.
func (c *Writer) Connected(at sample.Instant) error { return c.Record(at, nil) }

func (c *Writer) record(at sample.Instant, p []byte, mark uint32) {
	binary.LittleEndian.PutUint64(c.head[:], uint64(at))
	binary.LittleEndian.PutUint32(c.head[8:], uint32(len(p))|mark)
	sum := crc32.Update(crc32.Checksum(c.head[:], castagnoli), castagnoli, p)
	binary.LittleEndian.PutUint32(c.tail[:], sum)
	c.put(c.head[:])
	c.put(p)
	c.put(c.tail[:])
}

func (c *Writer) put(p []byte) {
	if c.err != nil {
		return
	}
	n, err := c.w.Write(p)
	c.size += int64(n)
	if err != nil {
		c.err = fmt.Errorf("capture: %w", err)
	}
}

// Flush hands what is buffered to the operating system.
func (c *Writer) Flush() error {
	if c.err == nil {
		if err := c.w.Flush(); err != nil {
			c.err = fmt.Errorf("capture: %w", err)
		}
	}
	return c.err
}

// Sync flushes, and returns when the file is on the disk.
func (c *Writer) Sync() error {
	if err := c.Flush(); err != nil || c.file == nil {
		return err
	}
	if err := c.file.Sync(); err != nil {
		c.err = fmt.Errorf("capture: %w", err)
	}
	return c.err
}

// Close syncs and closes the file. The Writer may not be used after it.
func (c *Writer) Close() error {
	err := c.Sync()
	if c.file != nil {
		if closing := c.file.Close(); err == nil && closing != nil {
			err = fmt.Errorf("capture: %w", closing)
		}
	}
	return err
}
