package ingest

import (
	"weald/ingest/frame"
	"weald/ingest/sample"
)

// A Finding is one thing that a recording holds: a frame, or bytes that are
// none. It is valid only during the call that brings it.
type Finding struct {
	Frame *frame.Frame   // nil where the bytes were no frame
	Bad   *frame.Bad     // why it was refused; nil if its source took it
	At    sample.Instant // its arrival; sample.Past while nothing has told of any
}

// Watch has f called with every frame and every refusal, in their order, when
// the playback comes to them: after the scans that they complete. It is called
// before Scans.
func (p *Playback) Watch(f func(Finding)) {
	p.in.decoder = watched{p.in.decoder, &watcher{p.in, f}}
}

// watched is a decoder that tells the watcher, which tells the intake.
type watched struct {
	frame.Decoder
	by *watcher
}

func (w watched) Feed(p []byte, _ frame.Handler)    { w.Decoder.Feed(p, w.by) }
func (w watched) Message(p []byte, _ frame.Handler) { w.Decoder.Message(p, w.by) }
func (w watched) Flush(frame.Handler)               { w.Decoder.Flush(w.by) }

// A watcher stands between a decoder and the intake.
type watcher struct {
	in   *intake
	tell func(Finding)
}

// Frame implements frame.Handler.
func (w *watcher) Frame(f *frame.Frame) {
	taken := w.in.frames
	w.in.Frame(f)
	found := Finding{Frame: f, At: w.in.arrival}
	switch {
	case w.in.frames > taken:
	case w.in.byNumber[f.Source] == nil:
		found.Bad = &frame.Bad{Reason: frame.BadSource, Detail: "it is not in the configuration"}
	default:
		found.Bad = &w.in.lastBad
	}
	w.tell(found)
}

// Bad implements frame.Handler.
func (w *watcher) Bad(b *frame.Bad) {
	w.in.Bad(b)
	w.tell(Finding{Bad: b, At: w.in.arrival})
}
