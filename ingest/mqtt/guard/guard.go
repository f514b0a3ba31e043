// Package guard protects libraries that speak MQTT from their peers.
package guard

import (
	"errors"
	"net"
	"time"

	"weald/ingest/tcp/wire"
)

// ErrTooLarge ends a connection over which a packet of more bytes than allowed was
// announced.
var ErrTooLarge = errors.New("a packet is too large")

// A guarded connection protects a client library from its peer: a packet that
// is too large is refused before memory is set aside for it, and a write that
// nobody takes ends.
type guarded struct {
	net.Conn
	scan scanner // owned by the goroutine that reads
}

// New guards c, over which a packet may have so many bytes after its header at most.
func New(c net.Conn, most int) net.Conn { return &guarded{Conn: c, scan: scanner{most: most}} }

func (g *guarded) Read(p []byte) (int, error) {
	n, err := g.Conn.Read(p)
	if !g.scan.take(p[:n]) {
		return 0, ErrTooLarge // with n bytes the error might go unseen
	}
	return n, err
}

func (g *guarded) Write(p []byte) (int, error) {
	if err := g.Conn.SetWriteDeadline(time.Now().Add(wire.Patience)); err != nil {
		return 0, err
	}
	return g.Conn.Write(p)
}

// A scanner follows the bounds of MQTT packets through a stream of bytes.
type scanner struct {
	most   int // bytes that a packet may have after its header
	body   int // bytes of the present packet that are still to come
	length int // as far as its digits have come
	digits int // of length that have come; 0 where they have not begun
	inside bool
}

// take reports whether every packet that begins in p is of a size that is
// allowed. A length of more than four digits, which is no MQTT, is left to the
// library to complain of.
func (s *scanner) take(p []byte) bool {
	for len(p) > 0 {
		switch {
		case s.body > 0:
			n := min(s.body, len(p))
			s.body -= n
			p = p[n:]
		case !s.inside: // the first byte of a header
			s.inside, s.length, s.digits = true, 0, 0
			p = p[1:]
		default:
			s.length |= int(p[0]&0x7f) << (7 * s.digits)
			s.digits++
			more := p[0]&0x80 != 0 && s.digits < 4
			p = p[1:]
			if more {
				continue
			}
			if s.length > s.most {
				return false
			}
			s.body, s.inside = s.length, false
		}
	}
	return true
}
