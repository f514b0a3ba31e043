package edf

import (
	"encoding/binary"
	"fmt"
	"io"
	"time"
)

// A Writer writes one EDF+ file, record by record. It buffers one record.
type Writer struct {
	w       io.Writer
	h       Header
	record  []byte
	written int
	end     time.Duration // of the record written last
}

// NewWriter writes the header and returns the writer of what follows. The
// header's last signal is that of Annotations, and there is no other; its
// number of records is the one that will be written.
func NewWriter(w io.Writer, h Header) (*Writer, error) {
	if h.Kind == Plain || h.Records < 1 || h.Duration <= 0 {
		return nil, fmt.Errorf("a file of kind %q with %d records of %v cannot be written", h.Kind, h.Records, h.Duration)
	}
	for i := range h.Signals {
		if last := i == len(h.Signals)-1; h.Signals[i].IsAnnotations() != last {
			return nil, fmt.Errorf("signal %d of %d is %q: the last one is for annotations, and no other",
				i+1, len(h.Signals), h.Signals[i].Label)
		}
	}
	head, err := h.Append(nil)
	if err != nil {
		return nil, err
	}
	if _, err := w.Write(head); err != nil {
		return nil, err
	}
	return &Writer{w: w, h: h, record: make([]byte, 0, h.recordSize(2))}, nil
}

// Record writes one data record that begins at onset, counted from the start of
// the file. Samples has one entry a signal but for the annotations, which are
// given as lists made by AppendTAL; what is left of their room is filled.
//
// The first record begins within the first second; the others begin where the
// former ended, or in a discontinuous file at any time after it.
func (w *Writer) Record(onset time.Duration, samples [][]int16, lists []byte) error {
	signals := w.h.Signals
	switch {
	case w.written == w.h.Records:
		return fmt.Errorf("record %d is one more than the header says", w.written+1)
	case w.written == 0 && (onset < 0 || onset >= time.Second):
		return fmt.Errorf("first record begins %v after the start of the file: it has to be within a second", onset)
	case w.written > 0 && w.h.Kind == Continuous && onset != w.end:
		return fmt.Errorf("record %d begins at %v, the former ended at %v, and the file is continuous", w.written+1, onset, w.end)
	case w.written > 0 && onset < w.end:
		return fmt.Errorf("record %d begins at %v, before the former ended at %v", w.written+1, onset, w.end)
	case len(samples) != len(signals)-1:
		return fmt.Errorf("record %d has samples of %d signals, the header has %d", w.written+1, len(samples), len(signals)-1)
	}
	b := w.record[:0]
	for i, s := range samples {
		if len(s) != signals[i].Samples {
			return fmt.Errorf("record %d has %d samples of %q, the header says %d",
				w.written+1, len(s), signals[i].Label, signals[i].Samples)
		}
		for _, v := range s {
			b = binary.LittleEndian.AppendUint16(b, uint16(v))
		}
	}
	before := len(b)
	b = append(AppendTAL(b, onset, 0), lists...)
	room := 2 * signals[len(signals)-1].Samples
	if used := len(b) - before; used > room {
		return fmt.Errorf("record %d has %d bytes of annotations, there is room for %d", w.written+1, used, room)
	}
	for len(b) < before+room {
		b = append(b, 0)
	}
	w.record, w.end = b, onset+w.h.Duration
	w.written++
	_, err := w.w.Write(b)
	return err
}

// Close returns an error if fewer records were written than the header says. It
// does not close what it writes to.
func (w *Writer) Close() error {
	if w.written != w.h.Records {
		return fmt.Errorf("%d records written, the header says %d", w.written, w.h.Records)
	}
	return nil
}

// ListRoom returns how many bytes of an annotation signal a record that begins
// at onset needs to say so.
func ListRoom(onset time.Duration) int { return len(AppendTAL(nil, onset, 0)) }
