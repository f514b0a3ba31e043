package filelink

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"time"

	"weald/ingest/capture"
	"weald/ingest/frame"
)

// A Link is a file to be played.
type Link struct {
	Path string
	Fast bool // everything at once, not at its own pace

	// Decoder returns a new decoder of the file's format, which finds the
	// times to play by. It is not asked for a capture, nor if Fast.
	Decoder func() (frame.Decoder, error)

	// Speed is how many seconds of the file pass in one; 0 stands for 1.
	Speed float64
}

// Name is the path.
func (l Link) Name() string { return l.Path }

// Rebased reports whether the file is played as if it happened now.
func (l Link) Rebased() bool { return !l.Fast }

// Open opens the file at its beginning. Whether it is a capture shows in its
// first bytes.
func (l Link) Open(ctx context.Context) (io.ReadCloser, error) {
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	f, err := os.Open(l.Path)
	if err != nil {
		if errors.Is(err, fs.ErrNotExist) {
			return nil, fmt.Errorf("no such file: %s", l.Path)
		}
		return nil, err
	}
	conn, err := l.play(f)
	if err != nil {
		f.Close()
		return nil, fmt.Errorf("%s: %w", l.Path, err)
	}
	return conn, nil
}

func (l Link) play(f *os.File) (io.ReadCloser, error) {
	if info, err := f.Stat(); err != nil {
		return nil, err
	} else if info.IsDir() {
		return nil, errors.New("it is a folder")
	}
	in := bufio.NewReaderSize(f, 64<<10)
	if capture.Begins(in) {
		records, err := capture.NewReader(in)
		if err != nil {
			return nil, err
		}
		c := &captured{Closer: f, records: records}
		again := records.Header().Again
		switch {
		case l.Fast && again:
			return marked{c}, nil
		case l.Fast:
			return c, nil
		}
		paced := l.paced(c, c.piece, c.Whole())
		if again {
			return pacedMarked{paced}, nil
		}
		return paced, nil
	}
	if l.Fast {
		return plain{in, f}, nil
	}
	if l.Decoder == nil {
		return nil, errors.New("no decoder to find the pace by")
	}
	decoder, err := l.Decoder()
	if err != nil {
		return nil, err
	}
	end := byte('\n')
	if _, ok := decoder.(*frame.Packed); ok {
		end = 0
	}
	return l.paced(f, newPieces(in, end, decoder).next, false), nil
}

func (l Link) paced(c io.Closer, next func() (piece, error), whole bool) *paced {
	speed := l.Speed
	if speed <= 0 {
		speed = 1
	}
	return &paced{closer: c, next: next, whole: whole, speed: speed, began: time.Now(), closed: make(chan struct{})}
}

// plain is a file that is read as it is.
type plain struct {
	io.Reader
	io.Closer
}
