package record

import (
	"encoding/binary"
	"fmt"
	"math"
	"sync"

	"github.com/klauspost/compress/zstd"
)

// How raw readings are coded.
const (
	rawFixed = 0 // whole numbers, or decimals with few places
	rawFloat = 1 // anything else, to the last bit
)

const maxDecimals = 4

var powers = [maxDecimals + 1]float64{1, 10, 100, 1000, 10000}

// One encoder serves everybody, and so does a decoder: EncodeAll and DecodeAll
// may be called from any goroutine. Snapshots may be larger than blocks.
var (
	packer = func() *zstd.Encoder {
		e, err := zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithEncoderCRC(false), zstd.WithLowerEncoderMem(true), zstd.WithEncoderConcurrency(2))
		if err != nil {
			panic("record: options of the compressor contradict each other: " + err.Error())
		}
		return e
	}()
	unpacker      = newUnpacker(9 * MaxReadings)
	largeUnpacker = newUnpacker(MaxDocument + 1)
)

func newUnpacker(most uint64) *zstd.Decoder {
	d, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(2), zstd.WithDecoderMaxMemory(most))
	if err != nil {
		panic("record: options of the decompressor contradict each other: " + err.Error())
	}
	return d
}

// scratch holds buffers of the size of a block that is not yet compressed.
var scratch = sync.Pool{New: func() any { return new(rawBuffer) }}

type rawBuffer struct {
	deltas []uint32
	plain  []byte
	now    []int32 // the last known value of each channel
}

// appendRaw appends a byte that says how, then the readings compressed (zstd).
//
// Fixed: what is compressed is the number of decimals, 1 if readings are
// missing or else 0, the number of planes (a byte each); if readings are
// missing a bit each, lowest first, in whole bytes; then the planes. A reading
// times ten to the decimals is a 32-bit number; less its prediction (modulo
// 2^32) and zig-zagged, its lowest byte is in the first plane, the next in the
// second, and planes that would be all zero are left out. The prediction is the
// same channel of the scan before, or in the first scan the channel before; a
// missing reading is as predicted.
//
// Float: the bits of each reading, exclusive-or those of the same channel of
// the scan before, in eight planes.
func appendRaw(dst []byte, scans []Scan) []byte {
	buf := scratch.Get().(*rawBuffer)
	defer scratch.Put(buf)
	how := byte(rawFloat)
	if decimals, missing, ok := fixed(scans); ok {
		how = rawFixed
		buf.fixed(scans, decimals, missing)
	} else {
		buf.float(scans)
	}
	return packer.EncodeAll(buf.plain, append(dst, how))
}

// fixed returns how many decimals the readings need, and whether some are
// missing; it is not ok where they are no decimals, or too large.
func fixed(scans []Scan) (decimals int, missing, ok bool) {
	most := 0.0
	for i := range scans {
		for _, v := range scans[i].Raw {
			if v != v {
				missing = true
				continue
			}
			for math.RoundToEven(v*powers[decimals])/powers[decimals] != v || v == 0 && math.Signbit(v) {
				if decimals++; decimals > maxDecimals {
					return 0, false, false
				}
			}
			most = max(most, math.Abs(v))
		}
	}
	return decimals, missing, most*powers[decimals] < math.MaxInt32
}

func (buf *rawBuffer) fixed(scans []Scan, decimals int, missing bool) {
	channels := len(scans[0].Raw)
	n := len(scans) * channels
	buf.deltas = grow(buf.deltas, n)
	buf.now = grow(buf.now, channels)
	now := buf.now
	power, k, union := powers[decimals], 0, uint32(0)
	for i := range scans {
		var left int32
		for j, v := range scans[i].Raw {
			guess := now[j]
			if i == 0 {
				guess = left
			}
			x := guess
			if v == v {
				x = int32(math.RoundToEven(v * power))
			}
			d := uint32(x) - uint32(guess)
			z := d<<1 ^ uint32(int32(d)>>31)
			buf.deltas[k] = z
			union |= z
			now[j], left = x, x
			k++
		}
	}
	planes := 1
	for union>>(8*planes) != 0 && planes < 4 {
		planes++
	}
	marks := 0
	if missing {
		marks = (n + 7) / 8
	}
	buf.plain = grow(buf.plain, 3+marks+planes*n)
	p := buf.plain
	p[0], p[1], p[2] = byte(decimals), 0, byte(planes)
	if missing {
		p[1] = 1
		mark(p[3:3+marks], scans)
	}
	for plane := range planes {
		out := p[3+marks+plane*n:][:n]
		for i, z := range buf.deltas {
			out[i] = byte(z >> (8 * plane))
		}
	}
}

func mark(bits []byte, scans []Scan) {
	clear(bits)
	k := 0
	for i := range scans {
		for _, v := range scans[i].Raw {
			if v != v {
				bits[k/8] |= 1 << (k % 8)
			}
			k++
		}
	}
}

func (buf *rawBuffer) float(scans []Scan) {
	channels := len(scans[0].Raw)
	n := len(scans) * channels
	buf.plain = grow(buf.plain, 8*n)
	for i := range scans {
		for j, v := range scans[i].Raw {
			x := math.Float64bits(v)
			if i > 0 {
				x ^= math.Float64bits(scans[i-1].Raw[j])
			}
			for plane := range 8 {
				buf.plain[plane*n+i*channels+j] = byte(x >> (8 * plane))
			}
		}
	}
}

// readRaw is the inverse of appendRaw, for so many scans.
func readRaw(c *cursor, scans, channels int) ([]float64, error) {
	how := c.byte()
	buf := scratch.Get().(*rawBuffer)
	defer scratch.Put(buf)
	plain, err := unpacker.DecodeAll(c.b, buf.plain[:0])
	if err != nil {
		return nil, fmt.Errorf("%w: %w", err, ErrDamaged)
	}
	buf.plain = plain
	n := scans * channels
	all := room(n)
	ok := false
	switch how {
	case rawFixed:
		ok = buf.unfix(plain, all, channels)
	case rawFloat:
		ok = len(plain) == 8*n
		for k := 0; ok && k < n; k++ {
			var b [8]byte
			for plane := range b {
				b[plane] = plain[plane*n+k]
			}
			x := binary.LittleEndian.Uint64(b[:])
			if k >= channels {
				x ^= math.Float64bits(all[k-channels])
			}
			all[k] = math.Float64frombits(x)
		}
	}
	if !ok {
		return nil, fmt.Errorf("raw readings of kind %d in %d bytes: %w", how, len(plain), ErrDamaged)
	}
	return all, nil
}

// room returns room for n readings; what is in it is of no meaning.
func room(n int) []float64 {
	if r, ok := rooms.Get().(*[]float64); ok && cap(*r) >= n {
		return (*r)[:n]
	}
	return make([]float64, n)
}

// unfix reads what fixed has written.
func (buf *rawBuffer) unfix(plain []byte, all []float64, channels int) bool {
	n := len(all)
	if len(plain) < 3 || plain[0] > maxDecimals || plain[1] > 1 || plain[2] < 1 || plain[2] > 4 {
		return false
	}
	power, missing, planes := powers[plain[0]], plain[1] == 1, int(plain[2])
	var bits []byte
	in := plain[3:]
	if missing {
		marks := (n + 7) / 8
		if len(in) < marks {
			return false
		}
		bits, in = in[:marks], in[marks:]
	}
	if len(in) != planes*n {
		return false
	}
	if planes > 2 {
		buf.unfixWide(in, all, channels, planes)
	} else if n > 0 {
		untangle(all[:channels], in, in[(planes-1)*n:], planes)
		for k := channels; k < n; k += channels {
			row, was := all[k:][:channels], all[k-channels:][:channels]
			if planes == 1 || zero(in[n+k:][:channels]) {
				follow(row, was, in[k:])
			} else {
				followWide(row, was, in[k:], in[n+k:])
			}
		}
	}
	if power != 1 {
		for k := range all {
			all[k] /= power
		}
	}
	if missing {
		for k := range all {
			if bits[k/8]>>(k%8)&1 != 0 {
				all[k] = math.NaN()
			}
		}
	}
	return true
}

// unfixWide is for readings that may differ by so much that sums wrap around.
func (buf *rawBuffer) unfixWide(in []byte, all []float64, channels, planes int) {
	buf.now = grow(buf.now, channels)
	x := int32(0)
	for k := range all {
		j := k % channels
		if k >= channels {
			x = buf.now[j]
		}
		x += unzig(in[k:], planes, len(all))
		buf.now[j], all[k] = x, float64(x)
	}
}

// unzig returns by how much a reading differs from its prediction. Its lowest byte
// is the first of in, and the byte of each further plane lies n behind.
func unzig(in []byte, planes, n int) int32 {
	z := uint32(0)
	for plane := range planes {
		z |= uint32(in[plane*n]) << (8 * plane)
	}
	return int32(z>>1 ^ -(z & 1))
}

// untangle reads the first scan, in which each channel goes by the one before it, of
// one plane or two.
func untangle(row []float64, low, high []byte, planes int) {
	low, high = low[:len(row)], high[:len(row)]
	x, with := int32(0), -int32(planes-1) // all bits of the second plane, if there is one
	for j := range row {
		z := int32(low[j]) | int32(high[j])<<8&with
		x += z>>1 ^ -(z & 1)
		row[j] = float64(x)
	}
}

// The loops below meet every reading of a mat that is read again. A sum of whole
// numbers is exact, so that what it was in the scan before need not be kept beside
// the readings. Mostly all of a scan differ little from those before, and then the
// second plane has nothing.

func follow(row, was []float64, low []byte) {
	was, low = was[:len(row)], low[:len(row)]
	for j := range row {
		row[j] = was[j] + little[low[j]]
	}
}

func followWide(row, was []float64, low, high []byte) {
	was, low, high = was[:len(row)], low[:len(row)], high[:len(row)]
	for j := range row {
		z := int32(low[j]) | int32(high[j])<<8
		row[j] = was[j] + float64(z>>1^-(z&1))
	}
}

// little is what a byte says that was zig-zagged.
var little = func() (t [256]float64) {
	for i := range t {
		t[i] = float64(i>>1 ^ -(i & 1))
	}
	return t
}()

func zero(b []byte) bool {
	for ; len(b) >= 8; b = b[8:] {
		if binary.LittleEndian.Uint64(b) != 0 {
			return false
		}
	}
	for _, c := range b {
		if c != 0 {
			return false
		}
	}
	return true
}

// grow returns s with length n; what it holds is of no meaning.
func grow[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}
