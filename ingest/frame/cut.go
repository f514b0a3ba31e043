package frame

import "bytes"

// A cutter cuts a byte stream at a delimiter, for all three formats. It holds
// at most limit bytes, and a piece that lies whole in what it is given is not
// copied at all.
type cutter struct {
	end   byte // the delimiter
	limit int  // longest piece, without its delimiter
	held  []byte
	over  bool // the piece at hand was too long and has been reported
}

// newCutter makes a cutter whose buffer has room for hold bytes from the start.
func newCutter(end byte, limit, hold int) cutter {
	return cutter{end: end, limit: limit, held: make([]byte, 0, hold)}
}

// What next found.
type found uint8

const (
	nothing found = iota // the input is used up
	piece                // what came before a delimiter; may be empty
	tooLong              // a piece beyond the limit, reported once
)

// next returns the first piece of p and what follows it. The piece is valid
// until the next call. A piece that is too long is reported as soon as that is
// certain, and whatever else belongs to it is dropped in silence.
func (c *cutter) next(p []byte) (got, rest []byte, what found) {
	i := bytes.IndexByte(p, c.end)
	if c.over {
		if i < 0 {
			return nil, nil, nothing
		}
		c.over = false
		p = p[i+1:]
		i = bytes.IndexByte(p, c.end)
	}
	switch {
	case i < 0 && len(c.held)+len(p) > c.limit:
		c.held, c.over = c.held[:0], true
		return nil, nil, tooLong
	case i < 0:
		c.held = append(c.held, p...)
		return nil, nil, nothing
	case len(c.held)+i > c.limit:
		c.held = c.held[:0]
		return nil, p[i+1:], tooLong
	case len(c.held) == 0:
		return p[:i], p[i+1:], piece
	}
	got = append(c.held, p[:i]...)
	c.held = got[:0]
	return got, p[i+1:], piece
}

// take empties the cutter and returns the piece that has no delimiter yet; it
// is valid until the next call.
func (c *cutter) take() []byte {
	got := c.held
	c.reset()
	return got
}

// reset forgets a half-received piece.
func (c *cutter) reset() { c.held, c.over = c.held[:0], false }
