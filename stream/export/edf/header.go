package edf

import (
	"fmt"
	"time"
)

// Limits of the format.
const (
	// MaxRecord is the largest data record, in bytes.
	MaxRecord = 61440
	// MaxSignals is how many signals the header can count, with annotations.
	MaxSignals = 9999
	// AnnotationsLabel is the label of the signal that holds text.
	AnnotationsLabel = "EDF Annotations"
)

// Sizes of the header, in bytes.
const (
	fixedSize  = 256
	signalSize = 256
)

// A Kind says how the records of a file follow each other.
type Kind string

// The kinds of files.
const (
	Plain         Kind = ""      // EDF: continuous, without annotations
	Continuous    Kind = "EDF+C" // each record begins where the former ended
	Discontinuous Kind = "EDF+D" // each record says when it begins
)

// A Header is what a file says about itself.
type Header struct {
	// Patient and Recording are the two fields of free text; see PatientField
	// and RecordingField for what EDF+ wants in them.
	Patient, Recording string

	// Start is when the file begins, on the wall clock of the place where it
	// was recorded. The format has no field for a zone: of a Start to write,
	// the year to the second in its own location count; a Start that was read
	// is in UTC, whatever the place. It is the zero time where a foreign file
	// does not give one.
	Start time.Time

	// Kind is how the records follow each other.
	Kind Kind

	// Records is the number of data records, or -1 in a file whose writer
	// never came to its end.
	Records int

	// Duration is that of a data record. It is 0 in files that hold nothing
	// but annotations.
	Duration time.Duration

	// Signals are in the order of the data records, annotations among them.
	Signals []Signal
}

// A Signal is what a file says about one of its signals.
type Signal struct {
	Label      string // up to 16 characters
	Transducer string // up to 80
	Dimension  string // the unit; up to 8
	Scale      Scale
	Prefilter  string // up to 80
	Samples    int    // in each data record
	Reserved   string // up to 32
}

// Annotations returns the signal that holds text, with room for n bytes of it
// in each record; an odd n is rounded up.
func Annotations(n int) Signal {
	return Signal{
		Label:   AnnotationsLabel,
		Scale:   Scale{PhysicalMin: -1, PhysicalMax: 1, DigitalMin: minDigital, DigitalMax: maxDigital},
		Samples: (n + 1) / 2,
	}
}

// IsAnnotations reports whether s holds text.
func (s *Signal) IsAnnotations() bool {
	return s.Label == AnnotationsLabel || s.Label == "BDF Annotations"
}

// Rate returns the samples per second of s in files with records of duration d.
func (s *Signal) Rate(d time.Duration) float64 {
	if d <= 0 {
		return 0
	}
	return float64(s.Samples) / d.Seconds()
}

// recordSize is the size of a data record with samples of width bytes.
func (h *Header) recordSize(width int) int {
	n := 0
	for i := range h.Signals {
		n += h.Signals[i].Samples * width
	}
	return n
}

// size is that of the header itself.
func (h *Header) size() int { return fixedSize + signalSize*len(h.Signals) }

// Append appends the header as it is written. Its errors name the field that
// does not fit.
func (h *Header) Append(dst []byte) ([]byte, error) {
	switch {
	case len(h.Signals) == 0 || len(h.Signals) > MaxSignals:
		return dst, fmt.Errorf("%d signals: a file has 1 to %d", len(h.Signals), MaxSignals)
	case h.Records < -1:
		return dst, fmt.Errorf("number of records is %d", h.Records)
	case h.Kind != Plain && h.Kind != Continuous && h.Kind != Discontinuous:
		return dst, fmt.Errorf("kind of file is %q", h.Kind)
	case h.recordSize(2) > MaxRecord:
		return dst, fmt.Errorf("a data record would have %d bytes: the most is %d", h.recordSize(2), MaxRecord)
	}
	f := fields{b: dst}
	f.text("version", "0", 8)
	f.text("patient", h.Patient, 80)
	f.text("recording", h.Recording, 80)
	f.text("start date", dateField(h.Start), 8)
	f.text("start time", h.Start.Format("15.04.05"), 8)
	f.integer("header size", h.size(), 8)
	f.text("reserved", string(h.Kind), 44)
	f.integer("number of records", h.Records, 8)
	f.seconds("duration of a record", h.Duration, 8)
	f.integer("number of signals", len(h.Signals), 4)
	for _, each := range []func(s *Signal){
		func(s *Signal) { f.text("label", s.Label, 16) },
		func(s *Signal) { f.text("transducer", s.Transducer, 80) },
		func(s *Signal) { f.text("physical dimension", s.Dimension, 8) },
		func(s *Signal) { f.number("physical minimum", s.Scale.PhysicalMin, 8) },
		func(s *Signal) { f.number("physical maximum", s.Scale.PhysicalMax, 8) },
		func(s *Signal) { f.integer("digital minimum", s.Scale.DigitalMin, 8) },
		func(s *Signal) { f.integer("digital maximum", s.Scale.DigitalMax, 8) },
		func(s *Signal) { f.text("prefiltering", s.Prefilter, 80) },
		func(s *Signal) { f.integer("samples per record", s.Samples, 8) },
		func(s *Signal) { f.text("reserved", s.Reserved, 32) },
	} {
		for i := range h.Signals {
			s := &h.Signals[i]
			f.of = s.Label
			if f.err == nil {
				f.err = s.check()
			}
			each(s)
		}
	}
	return f.b, f.err
}

// check returns what makes s impossible to write or to read.
func (s *Signal) check() error {
	switch {
	case s.Samples < 1:
		return fmt.Errorf("signal %q: %d samples per record", s.Label, s.Samples)
	case s.Label == "":
		return fmt.Errorf("a signal has no label")
	}
	if err := s.Scale.check(minDigital, maxDigital); err != nil {
		return fmt.Errorf("signal %q: %w", s.Label, err)
	}
	return nil
}
