package record

import (
	"cmp"
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"time"

	"weald/ingest/sample"
)

// A Tier is a resolution at which history is kept.
type Tier uint8

// The tiers.
const (
	Second  Tier = 1
	Minute  Tier = 2
	Quarter Tier = 3 // of an hour
)

// Tiers lists all tiers, the finest first.
func Tiers() []Tier { return []Tier{Second, Minute, Quarter} }

// Step returns how long one point of t stands for, 0 for a tier that is none.
func (t Tier) Step() time.Duration {
	switch t {
	case Second:
		return time.Second
	case Minute:
		return time.Minute
	case Quarter:
		return 15 * time.Minute
	}
	return 0
}

// String returns "1 s", "1 min" or "15 min".
func (t Tier) String() string {
	switch t {
	case Second:
		return "1 s"
	case Minute:
		return "1 min"
	case Quarter:
		return "15 min"
	}
	return fmt.Sprintf("tier %d", uint8(t))
}

// A Point is what a series did in one step of a tier. Where nothing was known
// there is no point.
type Point struct {
	At             sample.Instant // begin of the step: a multiple of it
	Min, Mean, Max float32
}

// Compare says whether p begins before an instant (-1), at it, or after it (1).
func (p Point) Compare(at sample.Instant) int { return cmp.Compare(p.At, at) }

// A Stretch is some points of one series, in ascending order of time.
type Stretch struct {
	Place, Series string
	Tier          Tier
	// Serial counts all stretches of a record: what a later one says of an
	// instant replaces what an earlier one said. The journal gives it when it
	// keeps the stretch.
	Serial uint64
	Points []Point
}

// MaxPoints is the most points that a stretch may have.
const MaxPoints = 1 << 16

// stretchVersion is the version in which stretches are written.
//
// Version 1, after form and version: place, series (text), tier (a byte), the
// serial, how many points (uvarint each), the first point's time in steps (varint), then how
// many steps each is after the one before it, less 1 (uvarint); at last,
// compressed (zstd), twelve planes: the four bytes of each least value, of each
// mean and of each greatest, lowest byte first, exclusive-or those of the point
// before.
const stretchVersion = 1

// Check returns an error that wraps ErrInvalid if s cannot be encoded.
func (s *Stretch) Check() error {
	step := sample.Instant(s.Tier.Step())
	bad := func(what string) error {
		return fmt.Errorf("history of %s %s %w: %s", s.Place, s.Series, ErrInvalid, what)
	}
	switch {
	case step == 0:
		return bad(s.Tier.String() + " is not kept")
	case len(s.Points) == 0 || len(s.Points) > MaxPoints:
		return bad(fmt.Sprintf("%d points", len(s.Points)))
	case len(s.Place) > MaxSource || len(s.Series) > MaxSource:
		return bad("its names are too long")
	}
	for i := range s.Points {
		if at := s.Points[i].At; at%step != 0 || i > 0 && at <= s.Points[i-1].At {
			return bad(fmt.Sprintf("point at %v is not a later multiple of %v", at, s.Tier))
		}
	}
	return nil
}

func (p *Point) bits() [3]uint32 {
	return [3]uint32{math.Float32bits(p.Min), math.Float32bits(p.Mean), math.Float32bits(p.Max)}
}

// Append appends the encoding of s to dst. Its errors are those of Check.
func (s *Stretch) Append(dst []byte) ([]byte, error) {
	if err := s.Check(); err != nil {
		return dst, err
	}
	start, n := len(dst), len(s.Points)
	step := int64(s.Tier.Step())
	dst = appendText(begin(dst, FormStretch, stretchVersion), s.Place)
	dst = append(appendText(dst, s.Series), byte(s.Tier))
	dst = binary.AppendUvarint(dst, s.Serial)
	dst = binary.AppendUvarint(dst, uint64(n))
	at := int64(s.Points[0].At) / step
	dst = binary.AppendVarint(dst, at)
	plain := make([]byte, 12*n)
	var last [3]uint32
	for i := range s.Points {
		if i > 0 {
			k := int64(s.Points[i].At) / step
			dst = binary.AppendUvarint(dst, uint64(k-at-1))
			at = k
		}
		now := s.Points[i].bits()
		for j := range now {
			for plane := range 4 {
				plain[(4*j+plane)*n+i] = byte((now[j] ^ last[j]) >> (8 * plane))
			}
		}
		last = now
	}
	return seal(packer.EncodeAll(plain, dst), start), nil
}

// DecodeStretch is the inverse of Append. Its errors wrap ErrDamaged, ErrNewer
// or ErrForm.
func DecodeStretch(b []byte) (*Stretch, error) {
	s := new(Stretch)
	if err := s.read(b); err != nil {
		return nil, err
	}
	return s, nil
}

// AppendPoints appends the points of an encoded stretch to dst, of which nothing
// changes when there is an error. Its errors are those of DecodeStretch.
func AppendPoints(dst []Point, b []byte) ([]Point, error) {
	s := Stretch{Points: dst[len(dst):]}
	if err := s.read(b); err != nil {
		return dst, err
	}
	return append(dst, s.Points...), nil // which moves nothing if there was room
}

// read makes s what b says, with its points where s.Points has room for them.
func (s *Stretch) read(b []byte) error {
	_, in, err := content(b, FormStretch, stretchVersion)
	if err != nil {
		return fmt.Errorf("history: %w", err)
	}
	c := &cursor{b: in}
	s.Place, s.Series, s.Tier, s.Serial = c.text(), c.text(), Tier(c.byte()), c.uvarint()
	n, step := c.uvarint(), int64(s.Tier.Step())
	if c.bad || n == 0 || n > MaxPoints || n > uint64(len(c.b)) || step == 0 {
		return fmt.Errorf("history with %d points of %v: %w", n, s.Tier, ErrDamaged)
	}
	s.Points = slices.Grow(s.Points[:0], int(n))[:n]
	at := c.varint()
	for i := range s.Points {
		if i > 0 {
			at += int64(c.uvarint()) + 1
		}
		s.Points[i].At = sample.Instant(at * step)
	}
	buf := scratch.Get().(*rawBuffer)
	defer scratch.Put(buf)
	plain, err := unpacker.DecodeAll(c.b, buf.plain[:0])
	if err != nil || c.bad || len(plain) != 12*int(n) {
		return fmt.Errorf("history of %s %s, %d bytes for %d points: %w", s.Place, s.Series, len(plain), n, ErrDamaged)
	}
	buf.plain = plain
	s.unplane(plain)
	if err := s.Check(); err != nil {
		return fmt.Errorf("%w: %w", err, ErrDamaged)
	}
	return nil
}

// unplane takes the values of the points from the twelve planes.
func (s *Stretch) unplane(plain []byte) {
	third := 4 * len(s.Points)
	least, mean, greatest := newColumn(plain[:third]), newColumn(plain[third:2*third]), newColumn(plain[2*third:])
	for i := range s.Points {
		p := &s.Points[i]
		p.Min, p.Mean, p.Max = least.value(i), mean.value(i), greatest.value(i)
	}
}

// A column is four planes, read one value after another.
type column struct {
	planes [4][]byte
	last   uint32
}

func newColumn(b []byte) column {
	n := len(b) / 4
	return column{planes: [4][]byte{b[:n], b[n : 2*n], b[2*n : 3*n], b[3*n:]}}
}

func (c *column) value(i int) float32 {
	c.last ^= uint32(c.planes[0][i]) | uint32(c.planes[1][i])<<8 | uint32(c.planes[2][i])<<16 | uint32(c.planes[3][i])<<24
	return math.Float32frombits(c.last)
}
