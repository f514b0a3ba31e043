package record

import (
	"encoding/binary"
	"fmt"

	"weald/ingest/sample"
)

// A Progress says how far something had come: the entries, some sources, or a
// file of readings. It is kept beside the things themselves, so that the loss of
// the last of them can be noticed.
type Progress struct {
	// Position of the last entry, and the greatest ordinal of one.
	Position Position
	Ord      uint64

	// File is the name of a file of readings, and State the store's own mark
	// of what becomes of it. What follows is about its blocks.
	File              string
	State             uint8
	Blocks            uint64
	FirstOrd, LastOrd uint64
	Widest            uint64 // most that a block's last ordinal is after its first
	FirstAt, LastAt   sample.Instant

	Sources []SourceProgress
}

// A SourceProgress is how far a source had come; the source "" is the ticks.
type SourceProgress struct {
	Source      string
	Number, Ord uint64 // of its last block
}

// progressVersion is the version in which these are written. Version 1, after
// form and version: position, ordinal (uvarint), file (text), state (a byte),
// blocks, first and last ordinal, widest (uvarint), first and last instant
// (varint), how many sources (uvarint), and of each source (text), number and
// ordinal (uvarint).
const progressVersion = 1

// Append appends the encoding of p to dst.
func (p *Progress) Append(dst []byte) []byte {
	start := len(dst)
	dst = begin(dst, FormProgress, progressVersion)
	dst = binary.AppendUvarint(dst, uint64(p.Position))
	dst = binary.AppendUvarint(dst, p.Ord)
	dst = append(appendText(dst, p.File), p.State)
	for _, v := range []uint64{p.Blocks, p.FirstOrd, p.LastOrd, p.Widest} {
		dst = binary.AppendUvarint(dst, v)
	}
	dst = binary.AppendVarint(dst, int64(p.FirstAt))
	dst = binary.AppendVarint(dst, int64(p.LastAt))
	dst = binary.AppendUvarint(dst, uint64(len(p.Sources)))
	for _, s := range p.Sources {
		dst = appendText(dst, s.Source)
		dst = binary.AppendUvarint(dst, s.Number)
		dst = binary.AppendUvarint(dst, s.Ord)
	}
	return seal(dst, start)
}

// DecodeProgress is the inverse of Append. Its errors wrap ErrDamaged, ErrNewer
// or ErrForm.
func DecodeProgress(b []byte) (Progress, error) {
	_, in, err := content(b, FormProgress, progressVersion)
	if err != nil {
		return Progress{}, fmt.Errorf("progress: %w", err)
	}
	c := &cursor{b: in}
	p := Progress{Position: Position(c.uvarint()), Ord: c.uvarint(), File: c.text(), State: c.byte(),
		Blocks: c.uvarint(), FirstOrd: c.uvarint(), LastOrd: c.uvarint(), Widest: c.uvarint(),
		FirstAt: sample.Instant(c.varint()), LastAt: sample.Instant(c.varint())}
	n := c.uvarint()
	if c.bad || n > uint64(len(c.b)) {
		return Progress{}, fmt.Errorf("progress of %d sources: %w", n, ErrDamaged)
	}
	for range n {
		p.Sources = append(p.Sources, SourceProgress{c.text(), c.uvarint(), c.uvarint()})
	}
	return p, c.end("progress")
}
