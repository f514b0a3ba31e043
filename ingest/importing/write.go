package importing

import (
	"context"
	"errors"
	"io"

	"weald/ingest"
	"weald/ingest/capture"
	"weald/ingest/sample"
)

// A writer makes a capture of pieces. What comes before anything has an arrival
// waits for the first that has.
type writer struct {
	to     io.Writer
	header capture.Header
	w      *capture.Writer // nil before the first arrival

	waiting []byte
	ends    []int // of the pieces in waiting
}

// keep appends a piece.
func (w *writer) keep(at sample.Instant, piece []byte) error {
	if w.w == nil {
		if at == sample.Past {
			w.waiting = append(w.waiting, piece...)
			w.ends = append(w.ends, len(w.waiting))
			return nil
		}
		w.header.Started = at.Time()
		var err error
		if w.w, err = capture.NewWriter(w.to, w.header); err != nil {
			return err
		}
		from := 0
		for _, end := range w.ends {
			if err := w.w.Record(at, w.waiting[from:end]); err != nil {
				return err
			}
			from = end
		}
		w.waiting, w.ends = nil, nil
	}
	return w.w.Record(at, piece)
}

// flush hands what is buffered to the file. It reports how much was written; 0
// where nothing had an arrival.
func (w *writer) flush() (int64, error) {
	if w.w == nil {
		return 0, nil
	}
	err := w.w.Flush()
	return w.w.Size(), err
}

// copyRecords copies a capture of b to w without its damaged records, which it
// enters into the account.
func copyRecords(ctx context.Context, w io.Writer, r io.Reader, b *ingest.Bridge, a *Account, most int) (int64, error) {
	from, err := capture.NewReader(r)
	if err != nil {
		return 0, err
	}
	header := from.Header()
	header.Bridge = b.ID
	to, err := capture.NewWriter(w, header)
	if err != nil {
		return 0, err
	}
	good, looked := false, int64(0)
	for rec, err := range from.Records() {
		var corrupt *capture.CorruptError
		switch {
		case errors.As(err, &corrupt) || errors.Is(err, capture.ErrTorn):
			if a.Records++; len(a.Damaged) < most {
				a.Damaged = append(a.Damaged, err.Error())
			}
			continue
		case err != nil:
			return 0, err
		}
		good = good || len(rec.Bytes) > 0
		write := to.Record
		if rec.Again {
			write = to.Again
		}
		if err := write(rec.At, rec.Bytes); err != nil {
			return 0, err
		}
		if from.Offset()-looked >= lookEvery {
			if looked = from.Offset(); ctx.Err() != nil {
				return 0, context.Cause(ctx)
			}
		}
	}
	if err := to.Flush(); err != nil || !good {
		return 0, err
	}
	return to.Size(), nil
}

// lookEvery is how many bytes are copied between two looks at the context.
const lookEvery = 4 << 20
