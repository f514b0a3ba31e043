package ingest

import (
	"maps"
	"math"
	"slices"
	"time"

	"weald/ingest/frame"
	"weald/ingest/sample"
)

// An intake takes the bytes of one bridge to the scans of its sources. It reads
// no clock and belongs to one goroutine. It is the frame.Handler of its
// decoder.
type intake struct {
	bridge  *Bridge
	decoder frame.Decoder
	whole   bool // each chunk is one message
	again   bool // what is being decoded may have come before

	sources  []*source // as configured
	byNumber map[uint16]*source
	last     *source // of the frame before; most bridges have one source

	// arrival is that of the bytes being decoded, and never runs back. With
	// byFrames it is what each frame of a recording says. It is on the
	// daemon's clock, except for a recording that keeps its own times.
	arrival  sample.Instant
	timing   timing
	byFrames bool
	flushed  sample.Instant // when pace looked last, by the arrivals

	bytes    uint64
	lastByte sample.Instant
	sound    uint64 // frames that were decoded, of whatever source
	lastGood sample.Instant
	frames   uint64 // of them, taken by their source
	broken   uint64 // frames that could not be decoded
	bad      map[frame.Reason]uint64
	lastBad  frame.Bad

	unknown     []UnknownSource
	moreUnknown uint64

	grace  time.Duration  // the least silence that is worth a word
	opened sample.Instant // when the connection began
	fresh  evidence       // since the last sound frame
	losses losses
	exam   examination
}

// newIntake prepares to take b's bytes, with times that count as t says, and to
// give scans to out.
func newIntake(b *Bridge, t timing, out func(*sample.Scan)) (*intake, error) {
	decoder, err := b.Format.Decoder()
	if err != nil {
		return nil, err
	}
	in := &intake{
		bridge: b, decoder: decoder, byNumber: make(map[uint16]*source, len(b.Sources)),
		bad: make(map[frame.Reason]uint64), arrival: sample.Past, lastByte: sample.Past,
		lastGood: sample.Past, opened: sample.Past, flushed: sample.Past, timing: t,
		exam: examination{every: examineEvery},
	}
	for i := range b.Sources {
		s, err := newSource(&b.Sources[i], b.Format, t, out)
		if err != nil {
			return nil, err
		}
		in.sources = append(in.sources, s)
		in.byNumber[s.spec.Number] = s
	}
	return in, nil
}

// A manner is how a connection gives its bytes.
type manner struct {
	whole   bool // each chunk is one message
	stamped bool // the arrivals given to take are those of the recording
	again   bool // what came before may come again, and says so
}

// connected begins a new connection: what was half received never continues.
func (in *intake) connected(now sample.Instant, m manner) {
	in.decoder.Reset()
	in.whole = m.whole
	in.byFrames = in.timing == asRecorded && !m.stamped
	in.opened = now
	in.fresh.reset(now)
	in.losses = losses{from: now, since: in.arrived()}
	for _, s := range in.sources {
		if s.asm.Interrupted(); m.again {
			s.remember(in.timing)
		}
	}
}

// disconnected ends a connection. What the bridge says next may continue it.
func (in *intake) disconnected() {
	in.decoder.Flush(in)
	in.decoder.Reset()
}

// close ends the input.
func (in *intake) close() {
	for _, s := range in.sources {
		s.asm.Close()
	}
}

// take decodes bytes with the given time of arrival, at now on the clock of
// whoever watches; the two differ for recordings only. Again says that they may
// have come before.
func (in *intake) take(p []byte, arrival, now sample.Instant, again bool) {
	in.again = again
	if !in.byFrames {
		in.arrival = max(in.arrival, arrival)
	}
	in.bytes += uint64(len(p))
	in.lastByte = now
	sound := in.sound
	if in.whole {
		in.decoder.Message(p, in)
	} else {
		in.decoder.Feed(p, in)
	}
	if in.sound > sound {
		if now.Sub(in.fresh.since) >= max(lossesOver, in.patience()) {
			// What held no frame for so long was no damage, and is over.
			in.losses = losses{from: now, since: in.arrived()}
		}
		in.lastGood = now
		in.fresh.reset(now)
	} else {
		in.fresh.add(p, now)
	}
}

// flush hands on scans that, at by on the clock of the arrivals, have waited
// long enough for their last part, and looks at what was lost by now.
func (in *intake) flush(by, now sample.Instant) {
	for _, s := range in.sources {
		s.asm.Flush(by)
	}
	in.losses.tick(in, now)
	in.floods(now)
}

// battery notes the level of the one battery that feeds all sources of the
// bridge, as its link tells it.
func (in *intake) battery(percent int, now sample.Instant) {
	for _, s := range in.sources {
		s.battery(percent, now)
	}
}

// Frame implements frame.Handler.
func (in *intake) Frame(f *frame.Frame) {
	in.sound++
	s := in.last
	if s == nil || s.spec.Number != f.Source {
		if s = in.byNumber[f.Source]; s == nil {
			in.stranger(f)
			return
		}
		in.last = s
	}
	if in.byFrames {
		if f.Wall != sample.Never {
			in.arrival = max(in.arrival, f.Wall)
		} else {
			in.arrival = s.pacer.arrives(f, in.arrival)
		}
		in.pace(in.arrival)
	}
	epochs := s.asm.Epochs()
	if bad := s.take(f, in.arrival, in.again); bad != nil {
		in.refuse(bad)
		return
	}
	if in.byFrames && s.pacer.behind.yes && s.asm.Epochs() > epochs {
		s.pacer.restarted(f, in.arrival)
	}
	in.frames++
}

// Bad implements frame.Handler.
func (in *intake) Bad(b *frame.Bad) {
	in.broken++
	in.fresh.bad++
	in.refuse(b)
}

func (in *intake) refuse(b *frame.Bad) {
	in.bad[b.Reason]++
	// Words are made where somebody may read them, not a thousand times a
	// second for noise: the reason alone costs nothing.
	in.lastBad = *b
}

// unknownShown is how many readings of an unknown source are kept to look at.
const unknownShown = 8

// stranger notes a frame of a source that the configuration lacks. Its frame is
// good, so it speaks for the link, but nobody may guess whose readings it has.
func (in *intake) stranger(f *frame.Frame) {
	in.bad[frame.BadSource]++
	for i := range in.unknown {
		if u := &in.unknown[i]; u.Number == f.Source {
			u.see(f, in.arrival)
			return
		}
	}
	if len(in.unknown) == maxUnknown {
		in.moreUnknown++
		return
	}
	in.unknown = append(in.unknown, UnknownSource{Number: f.Source, First: in.arrival})
	in.unknown[len(in.unknown)-1].see(f, in.arrival)
}

func (u *UnknownSource) see(f *frame.Frame, now sample.Instant) {
	u.Frames++
	u.Last = now
	if f.Kind != frame.Readings {
		return
	}
	u.Channels = max(u.Channels, f.First+len(f.Readings))
	if f.First > 0 {
		return // a later part of a scan, whose channels are others
	}
	shown := f.Readings[:min(len(f.Readings), unknownShown)]
	if u.Earliest == nil {
		u.Earliest = slices.Clone(shown)
	}
	u.Readings = append(u.Readings[:0], shown...)
}

// publish copies everything that is known to where Status finds it, except for
// what is wrong.
func (in *intake) publish(to *Status, now sample.Instant) {
	to.Bytes, to.LastByte = in.bytes, in.lastByte
	to.Frames, to.LastGood = in.frames, in.lastGood
	if to.Bad == nil {
		to.Bad = make(map[frame.Reason]uint64)
	}
	maps.Copy(to.Bad, in.bad)
	if in.lastBad.Reason != "" {
		to.LastBad = in.lastBad.Error()
	}
	if len(to.Sources) != len(in.sources) {
		to.Sources = make([]SourceStatus, len(in.sources))
	}
	in.examine(now, to.State)
	stranger := -1
	if len(in.unknown) > 0 {
		stranger = int(in.unknown[0].Number)
	}
	for i, s := range in.sources {
		stats := s.asm.Stats()
		s.publish(&to.Sources[i], &stats)
		s.wrong = complaint{}
		if to.State == Open && in.sound > 0 && in.timing != asRecorded {
			s.wrong = s.trouble(now, in.opened, in.grace, &stats, stranger)
		}
		to.Sources[i].Trouble = s.wrong.words
		if in.timing != asRecorded && s.lastPass != sample.Past && s.silent(now, sample.Past, in.grace) {
			to.Sources[i].Rate = math.NaN() // what it was says nothing of now
		}
	}
	if len(to.Unknown) != len(in.unknown) {
		to.Unknown = make([]UnknownSource, len(in.unknown))
	}
	for i, u := range in.unknown {
		// The earliest readings never change, so they may be shared.
		u.Readings = append(to.Unknown[i].Readings[:0], u.Readings...)
		to.Unknown[i] = u
	}
	to.MoreUnknown = in.moreUnknown
}
