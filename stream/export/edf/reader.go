package edf

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"iter"
	"time"
)

// A Reader reads one file from its beginning to its end.
type Reader struct {
	in       *bufio.Reader
	mode     Mode
	h        Header
	width    int // bytes of a sample
	problems []string
	expected time.Duration // where the next record begins if no time is missing
}

// A Record is one data record.
type Record struct {
	Index int // from 0
	// Onset is when it begins, from the start of the file.
	Onset time.Duration
	// Samples has one entry a signal; that of a signal of annotations is nil.
	// What they mean is said by the signal's Scale.
	Samples [][]int32
	// Annotations are the texts of the record, without the empty one that
	// tells its onset. They may be of any time.
	Annotations []Annotation
}

// NewReader reads the header. Its error wraps ErrFormat, ErrStrict or
// ErrTruncated, or is that of r.
func NewReader(r io.Reader, mode Mode) (*Reader, error) {
	er := &Reader{in: bufio.NewReaderSize(r, 1<<16), mode: mode}
	if err := er.readHeader(); err != nil {
		return nil, err
	}
	return er, nil
}

// Header returns what the file says about itself. It is the reader's own.
func (r *Reader) Header() *Header { return &r.h }

// Problems returns the departures met so far, at most a hundred.
func (r *Reader) Problems() []string { return r.problems }

// Records yields the data records in the order of the file. A record is valid
// until the next iteration. It can be ranged over once.
//
// It stops after the first error, which it yields with a nil record:
// ErrTruncated, ErrStrict in a strict reader, or what the input returned.
func (r *Reader) Records() iter.Seq2[*Record, error] {
	return func(yield func(*Record, error) bool) {
		raw := make([]byte, r.h.recordSize(r.width))
		rec := &Record{Samples: make([][]int32, len(r.h.Signals))}
		for i := range r.h.Signals {
			if s := &r.h.Signals[i]; !s.IsAnnotations() {
				rec.Samples[i] = make([]int32, s.Samples)
			}
		}
		for n := 0; r.h.Records < 0 || n < r.h.Records; n++ {
			_, err := io.ReadFull(r.in, raw)
			if r.h.Records < 0 && errors.Is(err, io.EOF) {
				return
			}
			if err != nil {
				yield(nil, fmt.Errorf("record %d of %d: %w", n+1, r.h.Records, truncated(err, ErrTruncated)))
				return
			}
			rec.Index = n
			if err := r.decode(rec, raw); err != nil {
				yield(nil, fmt.Errorf("record %d: %w", n+1, err))
				return
			}
			if !yield(rec, nil) {
				return
			}
		}
		if _, err := r.in.ReadByte(); err == nil {
			if err := r.problem("the file goes on after its %d records", r.h.Records); err != nil {
				yield(nil, err)
			}
		} else if !errors.Is(err, io.EOF) {
			yield(nil, err)
		}
	}
}

// decode takes one record apart.
func (r *Reader) decode(rec *Record, raw []byte) error {
	rec.Annotations = rec.Annotations[:0]
	timed := r.h.Kind == Plain
	rec.Onset = r.expected
	for i := range r.h.Signals {
		s := &r.h.Signals[i]
		b := raw[:s.Samples*r.width]
		raw = raw[len(b):]
		if !s.IsAnnotations() {
			if err := r.samples(rec.Samples[i], b, s); err != nil {
				return err
			}
			continue
		}
		keeper := !timed // the first list of the first signal of annotations
		var onset time.Duration
		err := parseTALs(b, func(list int, a Annotation) {
			if list == 0 && keeper && a.Text == "" && !timed {
				onset, timed = a.Onset, true
				return
			}
			if a.Text != "" {
				rec.Annotations = append(rec.Annotations, a)
			}
		})
		if err != nil {
			if err := r.problem("signal %q: %v", s.Label, err); err != nil {
				return err
			}
		}
		if keeper && timed {
			if err := r.begins(rec, onset); err != nil {
				return err
			}
		}
	}
	if !timed {
		if err := r.problem("record %d does not say when it begins", rec.Index+1); err != nil {
			return err
		}
	}
	r.expected = rec.Onset + r.h.Duration
	return nil
}

// begins takes the onset that the record itself tells.
func (r *Reader) begins(rec *Record, onset time.Duration) error {
	var err error
	switch {
	case rec.Index == 0 && (onset < 0 || onset >= time.Second):
		err = r.problem("first record begins at %v: it has to be within a second", onset)
	case rec.Index > 0 && r.h.Kind == Continuous && onset != r.expected:
		err = r.problem("record %d begins at %v, not at %v, in a continuous file", rec.Index+1, onset, r.expected)
	case rec.Index > 0 && onset < r.expected:
		err = r.problem("record %d begins at %v, before the former ends at %v", rec.Index+1, onset, r.expected)
	}
	rec.Onset = onset
	return err
}

// samples decodes the samples of one signal.
func (r *Reader) samples(dst []int32, b []byte, s *Signal) error {
	outside := 0
	for k := range dst {
		var v int32
		if r.width == 2 {
			v = int32(int16(binary.LittleEndian.Uint16(b[2*k:])))
		} else {
			v = int32(b[3*k])<<8 | int32(b[3*k+1])<<16 | int32(b[3*k+2])<<24
			v >>= 8
		}
		if int(v) < s.Scale.DigitalMin || int(v) > s.Scale.DigitalMax {
			outside++
		}
		dst[k] = v
	}
	if outside > 0 {
		return r.problem("signal %q: %d samples outside the digital range %d to %d",
			s.Label, outside, s.Scale.DigitalMin, s.Scale.DigitalMax)
	}
	return nil
}
