package record

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"unicode/utf8"

	"weald/ingest/sample"
)

// A Document is a named piece of data in one of its versions: a calibration,
// an account, whatever has a name and is small.
type Document struct {
	Name    string
	Version uint64 // from 1, without holes
	Written sample.Instant
	Body    []byte // nil if this version says that there is none any more
}

// A Snapshot is the state of the rules engine after all inputs up to Ord.
type Snapshot struct {
	Ord    uint64
	At     sample.Instant // on the daemon's clock
	Config uint64         // version of the configuration that it belongs to
	Body   []byte
}

// Retired says that something was deleted on purpose, so that its absence is
// not taken for a loss: the blocks First…Last of a source, or, with Source
// empty, of the ticks.
type Retired struct {
	Source      string
	First, Last uint64
	// LastOrd is the ordinal of the last scan of them.
	LastOrd uint64
}

// MaxDocument is the most bytes that a document or a snapshot may have.
const MaxDocument = 64 << 20

// Versions in which these are written. Version 1 of a document: name (text),
// version (uvarint), written (varint), 0 or 1 and the body. Of a snapshot:
// ordinal (uvarint), instant (varint), configuration (uvarint), the body,
// compressed (zstd). Of what was retired: source (text), first, last, last
// ordinal (uvarint each).
const (
	documentVersion = 1
	snapshotVersion = 1
	retiredVersion  = 1
)

// Append appends the encoding of d to dst. Its errors wrap ErrInvalid.
func (d *Document) Append(dst []byte) ([]byte, error) {
	if !d.sound() {
		return dst, fmt.Errorf("document %.40q %w: a name of %d and a body of %d bytes", d.Name, ErrInvalid, len(d.Name), len(d.Body))
	}
	start := len(dst)
	dst = appendText(begin(dst, FormDocument, documentVersion), d.Name)
	dst = binary.AppendUvarint(dst, d.Version)
	dst = binary.AppendVarint(dst, int64(d.Written))
	if d.Body == nil {
		dst = append(dst, 0)
	} else {
		dst = append(append(dst, 1), d.Body...)
	}
	return seal(dst, start), nil
}

// sound says that d can be kept: it has a name that is text, and is not too large.
func (d *Document) sound() bool {
	return d.Name != "" && utf8.ValidString(d.Name) && len(d.Name) <= MaxSource && len(d.Body) <= MaxDocument
}

// DecodeDocument is the inverse of Append. Its errors wrap ErrDamaged, ErrNewer
// or ErrForm.
func DecodeDocument(b []byte) (Document, error) {
	_, in, err := content(b, FormDocument, documentVersion)
	if err != nil {
		return Document{}, fmt.Errorf("document: %w", err)
	}
	c := &cursor{b: in}
	d := Document{Name: c.text(), Version: c.uvarint(), Written: sample.Instant(c.varint())}
	if c.byte() == 1 {
		d.Body = append([]byte{}, c.take(uint64(len(c.b)))...)
	}
	if err := c.end("document"); err != nil {
		return Document{}, err
	}
	if !d.sound() {
		return Document{}, fmt.Errorf("document %.40q cannot have been written: %w", d.Name, ErrDamaged)
	}
	return d, nil
}

// Append appends the encoding of s to dst. Its errors wrap ErrInvalid.
func (s *Snapshot) Append(dst []byte) ([]byte, error) {
	if len(s.Body) > MaxDocument {
		return dst, fmt.Errorf("snapshot %w: %d bytes, the most is %d", ErrInvalid, len(s.Body), MaxDocument)
	}
	start := len(dst)
	dst = binary.AppendUvarint(begin(dst, FormSnapshot, snapshotVersion), s.Ord)
	dst = binary.AppendVarint(dst, int64(s.At))
	dst = binary.AppendUvarint(dst, s.Config)
	return seal(packer.EncodeAll(s.Body, dst), start), nil
}

// DecodeSnapshot is the inverse of Append. Its errors wrap ErrDamaged, ErrNewer
// or ErrForm.
func DecodeSnapshot(b []byte) (Snapshot, error) {
	_, in, err := content(b, FormSnapshot, snapshotVersion)
	if err != nil {
		return Snapshot{}, fmt.Errorf("snapshot: %w", err)
	}
	c := &cursor{b: in}
	s := Snapshot{Ord: c.uvarint(), At: sample.Instant(c.varint()), Config: c.uvarint()}
	if c.bad {
		return Snapshot{}, c.end("snapshot")
	}
	if s.Body, err = largeUnpacker.DecodeAll(c.b, nil); err != nil {
		return Snapshot{}, fmt.Errorf("snapshot up to %d: %w: %w", s.Ord, err, ErrDamaged)
	}
	return s, nil
}

// Append appends the encoding of r to dst.
func (r *Retired) Append(dst []byte) []byte {
	start := len(dst)
	dst = appendText(begin(dst, FormRetired, retiredVersion), r.Source)
	for _, v := range []uint64{r.First, r.Last, r.LastOrd} {
		dst = binary.AppendUvarint(dst, v)
	}
	return seal(dst, start)
}

// DecodeRetired is the inverse of Append. Its errors wrap ErrDamaged, ErrNewer
// or ErrForm.
func DecodeRetired(b []byte) (Retired, error) {
	_, in, err := content(b, FormRetired, retiredVersion)
	if err != nil {
		return Retired{}, fmt.Errorf("note of a deletion: %w", err)
	}
	c := &cursor{b: in}
	r := Retired{Source: c.text(), First: c.uvarint(), Last: c.uvarint(), LastOrd: c.uvarint()}
	return r, c.end("note of a deletion")
}

// Equal reports whether d and o are the same; no body is not an empty body.
func (d *Document) Equal(o *Document) bool {
	return d.Name == o.Name && d.Version == o.Version && d.Written == o.Written &&
		(d.Body == nil) == (o.Body == nil) && bytes.Equal(d.Body, o.Body)
}
