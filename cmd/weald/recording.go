package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"

	"weald/ingest"
	"weald/ingest/capture"
	"weald/ingest/sample"
)

// captureMagic begins every capture file.
const captureMagic = "WCAP1\n"

// A refusal is a line of a recording that was refused. Of them the first few are
// shown: a file of another form has nothing else.
type refusal struct {
	line, column int
	why          string
}

const shownRefusals = 5

// A recording is a file that is played through a bridge's decoder.
type recording struct {
	bridge  ingest.Bridge
	path    string
	status  ingest.Status   // of the last time it was played
	stamped bool            // it is a capture, which has the times of arrival
	refused []refusal       // the first few
	wide    ingest.WideRows // among those taken
	torn    error           // it was cut short; what came before is good
}

// play is a rehearsal.Input.
func (r *recording) play(ctx context.Context, out func(*sample.Scan)) error {
	f, err := os.Open(r.path)
	if err != nil {
		return fmt.Errorf("recording of %s: %w", r.bridge.ID, err)
	}
	defer f.Close()
	in := bufio.NewReaderSize(f, 1<<20)
	magic, err := in.Peek(len(captureMagic))
	if err != nil && !errors.Is(err, io.EOF) {
		return fmt.Errorf("recording of %s: %w", r.bridge.ID, err)
	}
	r.stamped = string(magic) == captureMagic
	p, err := ingest.NewPlayback(r.bridge, in, ingest.PlayOptions{Capture: r.stamped})
	if err != nil {
		return err
	}
	defer func() { r.status = p.Status() }()
	r.refused, r.wide = nil, ingest.WideRows{}
	p.Watch(func(f ingest.Finding) {
		if f.Bad == nil {
			r.wide.See(f.Frame)
		}
		if f.Bad != nil && f.Bad.Line > 0 && len(r.refused) < shownRefusals {
			r.refused = append(r.refused, refusal{f.Bad.Line, f.Bad.Column, f.Bad.Error()})
		}
	})
	for s, err := range p.Scans(ctx) {
		switch {
		case err == nil:
			out(s)
		case tornOff(err):
			r.torn = err
		default:
			return err
		}
	}
	return nil
}

// tornOff reports whether an error says that a capture is damaged, before which all is
// good.
func tornOff(err error) bool {
	var corrupt *capture.CorruptError
	return errors.Is(err, capture.ErrTorn) || errors.As(err, &corrupt)
}

// complain tells people what was wrong with the recording.
func (r *recording) complain(w io.Writer) {
	if r.torn != nil {
		fmt.Fprintf(w, "weald: %s: %v\n", r.path, r.torn)
	}
	r.complainOfFrames(w)
	if text := r.wide.Sentence(); text != "" {
		fmt.Fprintf(w, "weald: %s: %s\n", r.path, text)
	}
	if r.status.Trouble != "" {
		fmt.Fprintf(w, "weald: %s: %s\n", r.path, r.status.Trouble)
	}
	for i := range r.status.Sources {
		s := &r.status.Sources[i]
		if c := &s.Condition.Channels; faults(c) > 0 {
			fmt.Fprintf(w, "weald: %s: source %s at its end: %s\n", r.path, s.ID, c.Sentence())
		}
		if s.Counter != "" {
			fmt.Fprintf(w, "weald: %s: source %s: %s\n", r.path, s.ID, s.Counter)
		}
		if s.Restarts > 0 {
			fmt.Fprintf(w, "weald: %s: source %s: %s\n", r.path, s.ID, r.restarts(s.Restarts))
		}
		if s.Withheld > 0 {
			fmt.Fprintf(w, "weald: %s: source %s: %d readings of channels that do not answer were left out of the signals\n", r.path, s.ID, s.Withheld)
		}
	}
	for _, u := range r.status.Unknown {
		fmt.Fprintf(w, "weald: %s: source %d is not in the configuration; its %d frames were not judged\n", r.path, u.Number, u.Frames)
	}
}

// complainOfFrames tells people what was refused, and that nothing was taken.
func (r *recording) complainOfFrames(w io.Writer) {
	good, bad := r.status.Frames, r.status.BadFrames()
	switch {
	case r.status.Bytes == 0:
		fmt.Fprintf(w, "weald: %s: there is nothing in it, and nothing was judged\n", r.path)
	case good == 0 && bad == 0:
		fmt.Fprintf(w, "weald: %s: there is no frame in it, and nothing was judged\n", r.path)
	case good == 0:
		fmt.Fprintf(w, "weald: %s: all of its %d frames were refused, and nothing was judged; the last one: %s\n", r.path, bad, r.status.LastBad)
	case bad > 0:
		fmt.Fprintf(w, "weald: %s: %d of %d frames were refused, the last one: %s\n", r.path, bad, good+bad, r.status.LastBad)
	}
	for _, f := range r.refused {
		fmt.Fprintf(w, "weald: %s:%d:%d: %s\n", r.path, f.line, f.column, f.why)
	}
	if n := bad - uint64(len(r.refused)); n > 0 && len(r.refused) == shownRefusals {
		fmt.Fprintf(w, "weald: %s: and %d more; import shows as many as are asked for\n", r.path, n)
	}
}

// restarts says how often a device has started again. Only a capture has kept
// when its frames arrived.
func (r *recording) restarts(n int) string {
	times := "once"
	if n > 1 {
		times = fmt.Sprintf("%d times", n)
	}
	if r.stamped {
		return "the device restarted " + times
	}
	return "the device restarted " + times + "; how long it was off is not known"
}

func (r *recording) summary() inputSummary {
	s := inputSummary{Bridge: r.bridge.ID, File: r.path, Frames: r.status.Frames, Bad: map[string]uint64{}}
	for reason, n := range r.status.Bad {
		s.Bad[string(reason)] = n
	}
	for _, src := range r.status.Sources {
		s.Gaps += src.Gaps
		s.Repeats += src.Repeats
		s.Damaged += src.Damaged
		s.Restarts += src.Restarts
	}
	return s
}
