package filelink

import (
	"errors"
	"io"

	"weald/ingest/capture"
	"weald/ingest/sample"
)

// captured plays the records of a capture. Damaged ones are left out: what they
// held shows as a gap.
type captured struct {
	io.Closer
	records *capture.Reader
	begun   bool
	first   sample.Instant // arrival of the first record

	rest  []byte         // of the present record
	at    sample.Instant // its arrival
	again bool           // and whether it may have come before
}

// next returns the next record that has bytes, or the error that ends the file,
// io.EOF at its end.
func (c *captured) next() (capture.Record, error) {
	for {
		rec, err := c.records.Next()
		if _, corrupt := errors.AsType[*capture.CorruptError](err); corrupt {
			continue
		}
		if err != nil || len(rec.Bytes) > 0 {
			return rec, err
		}
	}
}

// piece returns the next record as a piece.
func (c *captured) piece() (piece, error) {
	rec, err := c.next()
	if err != nil {
		return piece{}, err
	}
	if !c.begun {
		c.begun, c.first = true, rec.At
	}
	return piece{rec.Bytes, rec.At.Sub(c.first), rec.Again}, nil
}

// Whole reports whether every record is one message.
func (c *captured) Whole() bool { return c.records.Header().Whole }

// ReadStamped gives bytes that arrived together, and when.
func (c *captured) ReadStamped(p []byte) (int, sample.Instant, error) {
	if len(c.rest) == 0 {
		rec, err := c.next()
		if err != nil {
			return 0, 0, err
		}
		c.rest, c.at, c.again = rec.Bytes, rec.At, rec.Again
	}
	n := copy(p, c.rest)
	c.rest = c.rest[n:]
	return n, c.at, nil
}

// Read is ReadStamped for those who do not care when.
func (c *captured) Read(p []byte) (int, error) {
	n, _, err := c.ReadStamped(p)
	return n, err
}

// marked is one whose link may have delivered messages again.
type marked struct{ *captured }

// Again reports whether the present record may have come before.
func (c marked) Again() bool { return c.again }
