package edf

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// Errors of reading.
var (
	// ErrFormat means that no file of this family begins like this, or that
	// what its header says cannot be followed.
	ErrFormat = errors.New("not an EDF, EDF+ or BDF file")
	// ErrStrict means that the file departs from the format. Only strict
	// readers give it.
	ErrStrict = errors.New("departs from the format")
	// ErrTruncated means that the file ends before what its header promises.
	// Every whole record before the cut has been read.
	ErrTruncated = errors.New("file ends too early")
)

// maxForeignRecord bounds the records of files of the world, in bytes. Some
// programs write records far over MaxRecord; no honest one over this.
const maxForeignRecord = 16 << 20

// bdfMagic begins the files with samples of 24 bits.
const bdfMagic = "\xffBIOSEMI"

// A Mode says how a Reader takes departures from the format.
type Mode int

// The modes.
const (
	Strict  Mode = iota // each is an error
	Lenient             // each is listed, and what can be read is read
)

// maxProblems bounds the list of departures.
const maxProblems = 100

// problem notes a departure; in a strict reader it is an error.
func (r *Reader) problem(format string, args ...any) error {
	text := fmt.Sprintf(format, args...)
	if r.mode == Strict {
		return fmt.Errorf("%s: %w", text, ErrStrict)
	}
	if len(r.problems) < maxProblems {
		r.problems = append(r.problems, text)
	}
	return nil
}

// A parser takes fields off a header and keeps the first error.
type parser struct {
	r   *Reader
	b   []byte
	of  string
	err error
}

func (p *parser) departs(name, what string) {
	if p.err == nil {
		if p.of != "" {
			name += " of signal " + strconv.Quote(p.of)
		}
		p.err = p.r.problem("%s: %s", name, what)
	}
}

// text takes one field. Bytes that are no UTF-8 are taken for Latin-1.
func (p *parser) text(name string, width int) string {
	raw := string(p.b[:width])
	p.b = p.b[width:]
	s := strings.Trim(raw, " \x00")
	switch {
	case !printable(raw):
		p.departs(name, fmt.Sprintf("%q is not printable ASCII", raw))
	case raw != "" && s != "" && raw[0] == ' ':
		p.departs(name, fmt.Sprintf("%q is not at the left", raw))
	}
	if !utf8.ValidString(s) {
		var latin strings.Builder
		for i := range len(s) {
			latin.WriteRune(rune(s[i]))
		}
		return latin.String()
	}
	return s
}

func (p *parser) integer(name string, width int) int {
	s := p.text(name, width)
	n, err := strconv.Atoi(s)
	if err != nil {
		p.fail("%s: %q is not a whole number", name, s)
	} else if s != strconv.Itoa(n) {
		p.departs(name, fmt.Sprintf("%q is not how %d is written", s, n))
	}
	return n
}

func (p *parser) number(name string, width int) float64 {
	s := p.text(name, width)
	v, err := strconv.ParseFloat(strings.Replace(s, ",", ".", 1), 64)
	if err != nil || v != v || math.IsInf(v, 0) {
		p.departs(name, fmt.Sprintf("%q is not a number", s))
		return 0
	}
	if digits := strings.TrimPrefix(s, "-"); strings.Trim(digits, "0123456789.") != "" || !allDigits(digits[:1]) {
		p.departs(name, fmt.Sprintf("%q is not a plain decimal number", s))
	}
	return v
}

func (p *parser) fail(format string, args ...any) {
	if p.err == nil {
		p.err = fmt.Errorf(format+": %w", append(args, ErrFormat)...)
	}
}

// readHeader reads the header and leaves the input at the first record.
func (r *Reader) readHeader() error {
	b := make([]byte, fixedSize)
	if _, err := io.ReadFull(r.in, b); err != nil {
		return fmt.Errorf("header: %w", truncated(err, ErrFormat))
	}
	r.width = 2
	switch {
	case string(b[:8]) == bdfMagic:
		r.width = 3
		if err := r.problem("samples have 24 bits"); err != nil {
			return err
		}
		copy(b, "0       ")
	case b[0] != '0':
		return fmt.Errorf("version is %q: %w", b[:8], ErrFormat)
	}
	p := &parser{r: r, b: b}
	h := &r.h
	if v := p.text("version", 8); v != "0" {
		p.departs("version", fmt.Sprintf("it is %q", v))
	}
	h.Patient, h.Recording = p.text("patient", 80), p.text("recording", 80)
	date, clock := p.text("start date", 8), p.text("start time", 8)
	size := p.integer("header size", 8)
	reserved := p.text("reserved", 44)
	h.Records = p.integer("number of records", 8)
	seconds := p.number("duration of a record", 8)
	signals := p.integer("number of signals", 4)
	if p.err == nil && (signals < 1 || signals > MaxSignals) {
		p.fail("number of signals is %d", signals)
	}
	if p.err == nil && (seconds < 0 || seconds > 1e8 || h.Records < -1) {
		p.fail("%d records of %v s", h.Records, seconds)
	}
	if p.err != nil {
		return p.err
	}
	h.Duration = time.Duration(math.Round(seconds * 1e9))
	h.Kind = kindOf(reserved)
	if !strings.HasPrefix(string(h.Kind), "EDF+") {
		p.departs("reserved", fmt.Sprintf("%q is neither EDF+C nor EDF+D", reserved))
	}
	h.Start = p.start(date, clock)
	h.Signals = make([]Signal, signals)
	if want := h.size(); size != want {
		p.departs("header size", fmt.Sprintf("it is %d, and %d signals make it %d", size, signals, want))
	}
	if p.err != nil {
		return p.err
	}
	return r.readSignals()
}

// kindOf accepts the names of the 24-bit family too.
func kindOf(reserved string) Kind {
	switch {
	case strings.HasPrefix(reserved, "EDF+C"), strings.HasPrefix(reserved, "BDF+C"):
		return Continuous
	case strings.HasPrefix(reserved, "EDF+D"), strings.HasPrefix(reserved, "BDF+D"):
		return Discontinuous
	}
	return Plain
}

// readSignals reads the part of the header that has a column for each signal.
func (r *Reader) readSignals() error {
	h := &r.h
	b := make([]byte, signalSize*len(h.Signals))
	if _, err := io.ReadFull(r.in, b); err != nil {
		return fmt.Errorf("header of %d signals: %w", len(h.Signals), truncated(err, ErrTruncated))
	}
	p := &parser{r: r, b: b}
	for _, each := range []func(s *Signal){
		func(s *Signal) { s.Label = p.text("label", 16) },
		func(s *Signal) { s.Transducer = p.text("transducer", 80) },
		func(s *Signal) { s.Dimension = p.text("physical dimension", 8) },
		func(s *Signal) { s.Scale.PhysicalMin = p.number("physical minimum", 8) },
		func(s *Signal) { s.Scale.PhysicalMax = p.number("physical maximum", 8) },
		func(s *Signal) { s.Scale.DigitalMin = p.integer("digital minimum", 8) },
		func(s *Signal) { s.Scale.DigitalMax = p.integer("digital maximum", 8) },
		func(s *Signal) { s.Prefilter = p.text("prefiltering", 80) },
		func(s *Signal) { s.Samples = p.integer("samples per record", 8) },
		func(s *Signal) { s.Reserved = p.text("reserved", 32) },
	} {
		for i := range h.Signals {
			p.of = h.Signals[i].Label
			each(&h.Signals[i])
		}
	}
	if p.err != nil {
		return p.err
	}
	return r.checkSignals()
}

// checkSignals says what is wrong with numbers that could be read.
func (r *Reader) checkSignals() error {
	h := &r.h
	lowest, highest := -1<<(8*r.width-1), 1<<(8*r.width-1)-1
	record, annotations := 0, 0
	for i := range h.Signals {
		s := &h.Signals[i]
		if s.Samples < 0 || s.Samples > maxForeignRecord {
			return fmt.Errorf("signal %q has %d samples in a record: %w", s.Label, s.Samples, ErrFormat)
		}
		if record += s.Samples * r.width; record > maxForeignRecord {
			return fmt.Errorf("a data record has over %d bytes: %w", maxForeignRecord, ErrFormat)
		}
		if s.IsAnnotations() {
			annotations++
		}
		if err := s.Scale.check(lowest, highest); err != nil {
			if err := r.problem("signal %q: %v", s.Label, err); err != nil {
				return err
			}
		}
		if s.Samples == 0 || s.Label == "" {
			if err := r.problem("signal %d (%q) has %d samples in a record", i+1, s.Label, s.Samples); err != nil {
				return err
			}
		}
	}
	var wrong string
	switch {
	case record == 0:
		return fmt.Errorf("data records are empty: %w", ErrFormat)
	case record > MaxRecord:
		wrong = fmt.Sprintf("a data record has %d bytes, the most is %d", record, MaxRecord)
	case h.Kind != Plain && annotations == 0:
		wrong = "no signal for annotations"
	case h.Duration == 0 && annotations < len(h.Signals):
		wrong = "records have no duration, and there is more than annotations"
	case h.Records < 1:
		wrong = fmt.Sprintf("number of records is %d", h.Records)
	}
	if wrong != "" {
		return r.problem("%s", wrong)
	}
	return nil
}

// truncated turns an end in the middle into instead.
func truncated(err, instead error) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return instead
	}
	return err
}
