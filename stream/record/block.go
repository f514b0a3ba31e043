package record

import (
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"sync"

	"weald/ingest/sample"
)

// blockVersion is the version in which blocks are written.
//
// Version 1, after form and version: source (text), number, configuration,
// channels, scans (uvarint each); then, for all scans in turn,
//
//   - ordinals: the first, then each less the one before it, less 1 (uvarint)
//   - event times: the first, the first difference, then by how much each
//     difference differs from the one before it (varint)
//   - arrivals, less the event time: the first, then differences (varint)
//   - sequence numbers: the first, then differences modulo 2^32 (varint)
//   - flags: 0 if none is set, else 1 and a byte each: 1 stored, 2 damaged
//   - rails: 0 if there is none, 1 and the one of all, or 2 and each (float64)
//
// and at last the raw readings; see appendRaw.
//
// Version 2 has a third flag, 4 counted, and after the rails what devices
// counted: 0 if no scan is counted, else 1 and, for all scans in turn,
//
//   - counters: the first, then differences modulo 2^32, each less the one
//     before it (varint)
//   - sequence numbers less that of the scan's first frame (uvarint)
//
// Version 3 has, before the ordinals, by how much the first is greater than the
// last one of the block before; 0 if there is none (uvarint).
//
// Version 4 has, before the raw readings, the levels of the battery: 0 if none is
// known, 1 and the one of all, or 2 and each (a byte: the percent and 1, 0 for an
// unknown one).
const blockVersion = 4

const (
	flagStored  = 1
	flagDamaged = 2
	flagCounted = 4
)

// Append appends the encoding of b to dst. Its errors are those of Check.
func (b *Block) Append(dst []byte) ([]byte, error) {
	if err := b.Check(); err != nil {
		return dst, err
	}
	start := len(dst)
	dst = begin(dst, FormBlock, blockVersion)
	dst = appendText(dst, b.Source)
	dst = binary.AppendUvarint(dst, b.Number)
	dst = binary.AppendUvarint(dst, b.Config)
	dst = binary.AppendUvarint(dst, uint64(len(b.Scans[0].Raw)))
	dst = binary.AppendUvarint(dst, uint64(len(b.Scans)))
	before := uint64(0)
	if b.After > 0 {
		before = b.Scans[0].Ord - b.After
	}
	dst = binary.AppendUvarint(dst, before)
	dst = appendStamps(dst, b.Scans)
	dst = appendFlags(dst, b.Scans)
	dst = appendRails(dst, b.Scans)
	dst = appendCounters(dst, b.Scans)
	dst = appendCharges(dst, b.Scans)
	dst = appendRaw(dst, b.Scans)
	return seal(dst, start), nil
}

// appendStamps writes everything that counts. Sums and differences wrap around
// on purpose: they come out right again whatever the values are.
func appendStamps(dst []byte, scans []Scan) []byte {
	var ord uint64
	for i := range scans {
		dst = binary.AppendUvarint(dst, scans[i].Ord-ord-1)
		ord = scans[i].Ord
	}
	var at, step, wait int64
	for i := range scans {
		d := int64(scans[i].At) - at
		dst = binary.AppendVarint(dst, d-step)
		if at = int64(scans[i].At); i > 0 {
			step = d
		}
	}
	for i := range scans {
		d := int64(scans[i].Arrived) - int64(scans[i].At)
		dst = binary.AppendVarint(dst, d-wait)
		wait = d
	}
	var seq uint32
	for i := range scans {
		dst = binary.AppendVarint(dst, int64(int32(scans[i].Seq-seq)))
		seq = scans[i].Seq
	}
	return dst
}

func readStamps(c *cursor, scans []Scan) {
	var ord uint64
	for i := range scans {
		ord += c.uvarint() + 1
		scans[i].Ord = ord
	}
	var at, step, wait int64
	for i := range scans {
		d := c.varint() + step
		if at += d; i > 0 {
			step = d
		}
		scans[i].At = sample.Instant(at)
	}
	for i := range scans {
		wait += c.varint()
		scans[i].Arrived = scans[i].At + sample.Instant(wait)
	}
	var seq uint32
	for i := range scans {
		seq += uint32(int32(c.varint()))
		scans[i].Seq = seq
	}
}

func appendFlags(dst []byte, scans []Scan) []byte {
	flags := make([]byte, len(scans))
	var any byte
	for i := range scans {
		if scans[i].Stored {
			flags[i] |= flagStored
		}
		if scans[i].Damaged {
			flags[i] |= flagDamaged
		}
		if scans[i].Counted {
			flags[i] |= flagCounted
		}
		any |= flags[i]
	}
	if any == 0 {
		return append(dst, 0)
	}
	return append(append(dst, 1), flags...)
}

func readFlags(c *cursor, scans []Scan) {
	if c.byte() == 0 {
		return
	}
	for i, f := range c.take(uint64(len(scans))) {
		scans[i].Stored, scans[i].Damaged, scans[i].Counted = f&flagStored != 0, f&flagDamaged != 0, f&flagCounted != 0
	}
}

func appendCounters(dst []byte, scans []Scan) []byte {
	if !slices.ContainsFunc(scans, func(s Scan) bool { return s.Counted }) {
		return append(dst, 0)
	}
	dst = append(dst, 1)
	var ms, step uint32
	for i := range scans {
		d := scans[i].Millis - ms
		dst = binary.AppendVarint(dst, int64(int32(d-step)))
		if ms = scans[i].Millis; i > 0 {
			step = d
		}
	}
	for i := range scans {
		dst = binary.AppendUvarint(dst, uint64(scans[i].Seq-scans[i].First))
	}
	return dst
}

// readCounters reads what appendCounters has written.
func readCounters(c *cursor, scans []Scan, version byte) {
	if version == 1 || c.byte() == 0 {
		return
	}
	var ms, step uint32
	for i := range scans {
		d := uint32(int32(c.varint())) + step
		if ms += d; i > 0 {
			step = d
		}
		scans[i].Millis = ms
	}
	for i := range scans {
		scans[i].First = scans[i].Seq - uint32(c.uvarint())
	}
	for i := range scans {
		if !scans[i].Counted {
			scans[i].Millis, scans[i].First = 0, 0
		}
	}
}

func appendRails(dst []byte, scans []Scan) []byte {
	one := true
	for i := range scans {
		one = one && same(scans[i].Rail, scans[0].Rail)
	}
	switch {
	case !one:
		dst = append(dst, 2)
		for i := range scans {
			dst = appendFloat(dst, scans[i].Rail)
		}
		return dst
	case sample.IsUnknown(scans[0].Rail):
		return append(dst, 0)
	}
	return appendFloat(append(dst, 1), scans[0].Rail)
}

func readRails(c *cursor, scans []Scan) {
	how, rail := c.byte(), math.NaN()
	if how == 1 {
		rail = c.float()
	}
	for i := range scans {
		if how == 2 {
			rail = c.float()
		}
		scans[i].Rail = rail
	}
}

func appendCharges(dst []byte, scans []Scan) []byte {
	one := scans[0].Battery
	switch other := func(s Scan) bool { return s.Battery != one }; {
	case slices.ContainsFunc(scans, other):
		dst = append(dst, 2)
		for i := range scans {
			dst = append(dst, byte(scans[i].Battery))
		}
		return dst
	case one == 0:
		return append(dst, 0)
	}
	return append(dst, 1, byte(one))
}

func readCharges(c *cursor, scans []Scan) {
	how, charge := c.byte(), byte(0)
	if how == 1 {
		charge = c.byte()
	}
	for i := range scans {
		if how == 2 {
			charge = c.byte()
		}
		scans[i].Battery = sample.Charge(charge)
	}
}

// DecodeBlock is the inverse of Append. Its errors wrap ErrDamaged, ErrNewer or
// ErrForm. The block shares no memory with b.
func DecodeBlock(b []byte) (*Block, error) {
	block, err := OpenBlock(b)
	if err != nil {
		return nil, err
	}
	if err := block.Unpack(); err != nil {
		return nil, err
	}
	return block, nil
}

// OpenBlock is DecodeBlock without the readings, which take most of the time and
// all of the room: Unpack has them. Until then the block shares memory with b.
func OpenBlock(b []byte) (*Block, error) {
	version, in, err := content(b, FormBlock, blockVersion)
	if err != nil {
		return nil, fmt.Errorf("block: %w", err)
	}
	c := &cursor{b: in}
	block := &Block{Source: c.text(), Number: c.uvarint(), Config: c.uvarint()}
	channels, scans := c.uvarint(), c.uvarint()
	switch {
	case c.bad, scans == 0, scans > uint64(len(c.b)), channels > MaxChannels,
		scans*max(1, channels) > MaxReadings: // scans is less than len(c.b) here: no overflow
		return nil, fmt.Errorf("block with %d scans of %d channels: %w", scans, channels, ErrDamaged)
	}
	block.Scans = make([]Scan, scans)
	before := uint64(0)
	if version >= 3 {
		before = c.uvarint()
	}
	readStamps(c, block.Scans)
	readFlags(c, block.Scans)
	readRails(c, block.Scans)
	readCounters(c, block.Scans, version)
	if version >= 4 {
		readCharges(c, block.Scans)
	}
	if before > 0 {
		block.After = block.Scans[0].Ord - before
	}
	if c.bad {
		return nil, c.end("block")
	}
	if err := block.Check(); err != nil {
		return nil, fmt.Errorf("%w: %w", err, ErrDamaged)
	}
	block.packed, block.channels = c.b, int(channels)
	return block, nil
}

// Unpack gives the scans of a block that was opened their readings. Its error wraps
// ErrDamaged, and the block is worth nothing then.
func (b *Block) Unpack() error {
	all, err := readRaw(&cursor{b: b.packed}, len(b.Scans), b.channels)
	if err != nil {
		return fmt.Errorf("block %d of %q: %w", b.Number, b.Source, err)
	}
	for i := range b.Scans {
		b.Scans[i].Raw = all[i*b.channels:][:b.channels:b.channels]
	}
	b.packed, b.readings = nil, all
	return nil
}

// rooms are those that readings of blocks were in.
var rooms sync.Pool

// Recycle lets the readings of a block that was unpacked go, so that there is room
// for those of another: fresh room takes as long to have as they do. Nobody may have
// them any more.
func (b *Block) Recycle() {
	if b.readings == nil {
		return
	}
	for i := range b.Scans {
		b.Scans[i].Raw = nil
	}
	room := b.readings
	b.readings = nil
	rooms.Put(&room)
}
