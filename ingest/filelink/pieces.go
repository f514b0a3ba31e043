package filelink

import (
	"bufio"
	"time"

	"weald/ingest/frame"
	"weald/ingest/sample"
)

// longestWait is the longest pause that a file is believed. Beyond it the
// device has restarted, or the file has been put together from several.
const longestWait = 24 * time.Hour

// pieces cuts a plain file at its rows or frames, and finds the moment of each.
type pieces struct {
	in      *bufio.Reader
	end     byte // of every row or frame
	decoder frame.Decoder
	err     error // of in, to be given after the last piece

	at      time.Duration // of the latest frame, since the first
	sources map[uint16]*counter
}

// A counter follows the time of one source.
type counter struct {
	wall   sample.Instant
	millis uint32
	at     time.Duration
}

func newPieces(in *bufio.Reader, end byte, decoder frame.Decoder) *pieces {
	return &pieces{in: in, end: end, decoder: decoder, sources: make(map[uint16]*counter)}
}

// next returns the next piece, or the error of the file, io.EOF at its end.
func (p *pieces) next() (piece, error) {
	if p.err != nil {
		return piece{}, p.err
	}
	b, err := p.in.ReadSlice(p.end)
	if err == bufio.ErrBufferFull {
		err = nil // what is longer than any frame comes as it is
	}
	p.decoder.Feed(b, p)
	if err != nil {
		p.err = err
		p.decoder.Flush(p) // the last row may lack its ending
		if len(b) == 0 {
			return piece{}, err
		}
	}
	return piece{bytes: b, at: p.at}, nil
}

// Frame implements frame.Handler: it moves the time to that of f. Time that runs
// back, or leaps, stands still instead.
func (p *pieces) Frame(f *frame.Frame) {
	c := p.sources[f.Source]
	if c == nil {
		c = &counter{wall: f.Wall, millis: f.Millis, at: p.at}
		p.sources[f.Source] = c
	}
	pause := time.Duration(int32(f.Millis-c.millis)) * time.Millisecond
	if f.Wall != sample.Never {
		pause = f.Wall.Sub(c.wall)
	}
	if pause >= 0 && pause <= longestWait {
		c.at += pause
	}
	c.wall, c.millis = f.Wall, f.Millis
	p.at = max(p.at, c.at)
}

// Bad implements frame.Handler: what cannot be read has no time of its own.
func (p *pieces) Bad(*frame.Bad) {}
