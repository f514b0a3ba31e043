package importing

import (
	"bufio"
	"errors"
	"io"

	"weald/ingest"
	"weald/ingest/frame"
	"weald/ingest/sample"
)

const (
	// pieceBuffer is how much of a piece is handed on at a time.
	pieceBuffer = 64 << 10

	// mostOfPiece is how much of a piece is kept. What is longer is a frame in
	// no format, and in none does it matter how much longer.
	mostOfPiece = 2 << 20

	// mostBefore is how much is kept of what comes before the first frame.
	mostBefore = 16 << 20
)

// errNoBeginning says that a file is not what the configuration says.
var errNoBeginning = errors.New("16 MiB without a frame: is the format described as it is?")

// pieces hands a recording to a playback, one piece for each Read, and hands
// those that are worth it to keep once the playback has dealt with them.
//
// It relies on the playback to be done with a piece, and to have told of what
// it found, when it asks for the next.
type pieces struct {
	r      *bufio.Reader
	end    byte
	header int  // pieces to keep as they are
	all    bool // pieces without a frame count too
	ledger *ledger
	keep   func(at sample.Instant, piece []byte) error

	piece   []byte // as far as it was read
	ended   bool   // it is whole
	offset  int64  // of what comes next
	count   int    // of pieces begun
	sound   bool   // it holds a frame
	refused bool   // it holds something that is none
	at      sample.Instant
	before  int // bytes handed to keep before the first frame
}

// newPieces cuts r, a recording of b.
func newPieces(r io.Reader, b *ingest.Bridge, l *ledger, keep func(sample.Instant, []byte) error) *pieces {
	p := &pieces{r: bufio.NewReaderSize(r, pieceBuffer), end: '\n', ledger: l, keep: keep, ended: true, at: sample.Past}
	switch b.Format.Kind {
	case ingest.Packed:
		p.end = 0
	case ingest.Delimited:
		d := b.Format.Delimited
		p.header = d.HeaderLines
		p.all = d.Time.Column < 0 || d.Time.As == frame.InLayout
	}
	return p
}

// Read implements io.Reader.
func (p *pieces) Read(b []byte) (int, error) {
	got, err := p.r.ReadSlice(p.end)
	if errors.Is(err, bufio.ErrBufferFull) {
		err = nil
	}
	if len(got) > 0 {
		if p.ended {
			if err := p.settle(); err != nil {
				return 0, err
			}
			p.begin()
		}
		p.ended = got[len(got)-1] == p.end
		p.offset += int64(len(got))
		p.piece = append(p.piece, got[:min(len(got), mostOfPiece-len(p.piece))]...)
		err = nil // a read error comes again when nothing is left
	}
	return copy(b, got), err
}

// begin starts a piece.
func (p *pieces) begin() {
	p.count++
	p.ledger.byte = p.offset
	if p.end == '\n' {
		p.ledger.line = p.count
	}
}

// found is told of what the playback made of the piece.
func (p *pieces) found(f ingest.Finding) {
	p.sound = p.sound || f.Frame != nil
	p.refused = p.refused || f.Frame == nil
	p.at = f.At
	p.ledger.found(f)
}

// settle decides over the piece that the playback has done with.
func (p *pieces) settle() error {
	defer func() { p.piece, p.sound, p.refused = p.piece[:0], false, false }()
	header := p.count <= p.header
	if len(p.piece) == 0 || !header && !p.sound && !(p.all && p.refused) {
		return nil
	}
	if p.at == sample.Past {
		if p.before += len(p.piece); p.before > mostBefore {
			return errNoBeginning
		}
	}
	if n := len(p.piece); p.ended && p.piece[n-1] != p.end {
		p.piece = append(p.piece, p.end) // what was too long still has its end
	}
	return p.keep(p.at, p.piece)
}
