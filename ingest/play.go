package ingest

import (
	"context"
	"fmt"
	"io"
	"iter"

	"weald/ingest/capture"
	"weald/ingest/sample"
)

// PlayOptions says how a recording is played.
type PlayOptions struct {
	// Capture says that the recording is a capture file; its scans then have
	// the arrivals that were recorded. Without it the recording is what the
	// bridge would send: rows arrive when they say they were measured, line
	// and packed frames as far apart as the device's counter says, the first
	// of them at the instant 0. Where a device restarted, time goes on by one
	// nominal period: how long it was off, nothing tells.
	Capture bool

	// Progress is told now and then how many bytes of the recording were
	// played; nil for nobody.
	Progress func(bytes int64)
}

// A Playback is a recording of a bridge to be played once. It is for one
// goroutine, and starts none.
type Playback struct {
	bridge  Bridge
	options PlayOptions
	in      *intake
	records *capture.Reader // of a capture
	r       io.Reader       // else

	yield   func(*sample.Scan, error) bool // while Scans runs
	stopped bool                           // nobody wants more
	read    int64
	told    int64
}

// NewPlayback reads the header of a capture, if it is one. Its error says what
// is wrong with b or with the recording's beginning.
func NewPlayback(b Bridge, r io.Reader, o PlayOptions) (*Playback, error) {
	if err := b.check(); err != nil {
		return nil, err
	}
	p := &Playback{bridge: b, options: o, r: r}
	if o.Capture {
		records, err := capture.NewReader(r)
		if err != nil {
			return nil, fmt.Errorf("recording of %s: %w", b.ID, err)
		}
		if f := records.Header().Format; f != string(b.Format.Kind) {
			return nil, fmt.Errorf("recording of %s: it is of format %s, and the bridge is configured as %s", b.ID, f, b.Format.Kind)
		}
		p.records = records
	}
	in, err := newIntake(&b, asRecorded, p.out)
	if err != nil {
		return nil, err
	}
	p.in = in
	return p, nil
}

// Scans yields every scan of the recording in the order of arrival. A scan is
// valid until the next iteration. An error comes with a nil scan and says what was
// wrong with the recording as a file, or that ctx ended; only one that wraps a
// capture.CorruptError may be followed by more. To end the iteration early ends the
// playback.
func (p *Playback) Scans(ctx context.Context) iter.Seq2[*sample.Scan, error] {
	return func(yield func(*sample.Scan, error) bool) {
		p.yield = yield
		stamped := p.records != nil
		p.in.connected(sample.Past, p.manner())
		if stamped {
			p.playCapture(ctx)
		} else {
			p.playRaw(ctx)
		}
		if !p.stopped {
			p.in.disconnected()
			p.in.close()
		}
		p.progress(0)
	}
}

// manner is how the bridge gave its bytes.
func (p *Playback) manner() manner {
	if p.records == nil {
		return manner{}
	}
	h := p.records.Header()
	return manner{whole: h.Whole, stamped: true, again: h.Again}
}

// Status tells what became of the bytes so far.
func (p *Playback) Status() Status {
	s := Status{
		Bridge: p.bridge.ID, Format: string(p.bridge.Format.Kind), Opened: 1,
		State: Ended, Since: sample.Past, NextTry: sample.Never, TroubleSince: sample.Past,
	}
	p.in.exam.begun = false // who asks of a playback wants to know it as it is
	p.in.publish(&s, p.in.arrival)
	if p.in.sound == 0 && p.in.bytes > 0 {
		s.Trouble = p.in.strange(p.in.arrival)
	}
	return s.clone()
}

// out gives a scan away, until nobody wants more.
func (p *Playback) out(s *sample.Scan) {
	if !p.stopped && !p.yield(s, nil) {
		p.stopped = true
	}
}

// ended reports whether ctx has ended, and says so: then nothing more comes.
func (p *Playback) ended(ctx context.Context) bool {
	if ctx.Err() == nil {
		return false
	}
	p.fail(context.Cause(ctx))
	p.stopped = true
	return true
}

// fail gives an error away.
func (p *Playback) fail(err error) {
	if !p.stopped && !p.yield(nil, fmt.Errorf("recording of %s: %w", p.bridge.ID, err)) {
		p.stopped = true
	}
}

// tellEvery is how many bytes are played between two looks at the context and
// two calls of Progress.
const tellEvery = 1 << 20

// progress counts n bytes and reports whether to go on.
func (p *Playback) progress(n int) bool {
	p.read += int64(n)
	if p.options.Progress != nil && (n == 0 || p.read-p.told >= tellEvery) {
		p.told = p.read
		p.options.Progress(p.read)
	}
	return !p.stopped
}

// flushEvery is how often, by the recording's clock, incomplete scans are let
// go, as a Supervisor's tick would.
const flushEvery = tickEvery

// pace does what a Supervisor's ticks would have done until the given arrival,
// so that a recording gives its scans as they would have come live.
func (in *intake) pace(arrival sample.Instant) {
	if in.flushed == sample.Past || arrival.Sub(in.flushed) >= flushEvery {
		in.flush(arrival, arrival)
		in.flushed = arrival
	}
}

func (p *Playback) playCapture(ctx context.Context) {
	since := 0
	for rec, err := range p.records.Records() {
		if err != nil {
			p.fail(err)
			if p.stopped {
				return
			}
			continue
		}
		if len(rec.Bytes) == 0 {
			p.in.disconnected()
			p.in.connected(rec.At, p.manner())
			continue
		}
		p.in.pace(rec.At)
		p.in.take(rec.Bytes, rec.At, rec.At, rec.Again)
		since += len(rec.Bytes)
		if !p.progress(len(rec.Bytes)) {
			return
		}
		if since >= tellEvery {
			if since = 0; p.ended(ctx) {
				return
			}
		}
	}
}

// rawRead is how much of a plain recording is read at a time.
const rawRead = 256 << 10

func (p *Playback) playRaw(ctx context.Context) {
	buf := make([]byte, rawRead)
	for {
		n, err := p.r.Read(buf)
		if n > 0 {
			p.in.take(buf[:n], p.in.arrival, p.in.arrival, false)
			if !p.progress(n) {
				return
			}
		}
		switch {
		case err == io.EOF:
			return
		case err != nil:
			p.fail(err)
			return
		case p.ended(ctx):
			return
		}
	}
}
