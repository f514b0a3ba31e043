package ingest

import (
	"log/slog"
	"time"

	"weald/ingest/capture"
	"weald/ingest/sample"
)

// tapeSync is how often a capture is made safe on the disk, on the daemon's
// clock; it is handed to the operating system at every tick.
const tapeSync = 10 * time.Second

// A tape captures a bridge's raw bytes. A tape that fails stops, says so, and
// disturbs nobody. A nil tape captures nothing.
type tape struct {
	header capture.Header
	w      *capture.Writer // nil before the first connection
	path   string
	synced sample.Instant
	err    error
	log    *slog.Logger
}

// newTape returns a tape for b, nil if b asks for none.
func newTape(b Bridge, now sample.Instant, log *slog.Logger) *tape {
	if b.Capture == "" {
		return nil
	}
	return &tape{path: b.Capture, synced: now, log: log, header: capture.Header{
		Bridge: b.ID, Format: string(b.Format.Kind), Started: now.Time(),
	}}
}

// connected marks a new connection. The first one makes the file, as only it
// tells in which manner bytes come.
func (t *tape) connected(at sample.Instant, m manner) {
	if t == nil || t.err != nil {
		return
	}
	if t.w == nil {
		t.header.Whole, t.header.Again = m.whole, m.again
		w, err := capture.Create(t.path, t.header)
		if err != nil {
			t.fail(err)
			return
		}
		t.w, t.path = w, w.Name()
	}
	if err := t.w.Connected(at); err != nil {
		t.fail(err)
	}
}

func (t *tape) record(c *chunk) {
	if t == nil || t.err != nil || t.w == nil {
		return
	}
	write := t.w.Record
	if c.again {
		write = t.w.Again
	}
	if err := write(c.at, c.buf[:c.n]); err != nil {
		t.fail(err)
	}
}

func (t *tape) tick(now sample.Instant) {
	if t == nil || t.err != nil || t.w == nil {
		return
	}
	write := t.w.Flush
	if now.Sub(t.synced) >= tapeSync {
		write, t.synced = t.w.Sync, now
	}
	if err := write(); err != nil {
		t.fail(err)
	}
}

// fail ends the capture for good: a file with a hole would look whole.
func (t *tape) fail(err error) {
	t.err = err
	t.log.Warn("capture stopped", slog.Any("error", err), slog.String("do", "make room or let this account write there; the next start begins a new file"))
}

func (t *tape) close() {
	if t == nil || t.w == nil {
		return
	}
	if err := t.w.Close(); err != nil && t.err == nil {
		t.fail(err)
	}
}

// publish copies the state of the capture.
func (t *tape) publish(s *CaptureStatus) {
	if t == nil {
		return
	}
	s.File = t.path
	if t.w != nil {
		s.Bytes = t.w.Size()
	}
	if t.err != nil {
		s.Error = t.err.Error()
	}
}
