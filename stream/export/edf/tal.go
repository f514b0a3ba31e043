package edf

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode/utf8"
)

// Bytes that hold an annotation list together.
const (
	afterOnset = 0x15
	afterText  = 0x14
	afterList  = 0x00
)

// An Annotation is one text with its time.
type Annotation struct {
	// Onset is from the start of the file; it may be before it.
	Onset time.Duration
	// Duration is 0 where none is given.
	Duration time.Duration
	// Text is UTF-8, and nothing in it is below the space but tab, line feed
	// and carriage return.
	Text string
}

// AppendTAL appends one time-stamped annotation list. A duration of 0 is left
// out. What must not stand in a text becomes a space. Without any text it is a
// list with one empty text, which is how a record tells when it begins.
func AppendTAL(dst []byte, onset, duration time.Duration, texts ...string) []byte {
	if onset >= 0 {
		dst = append(dst, '+')
	}
	dst = AppendSeconds(dst, onset)
	if duration > 0 {
		dst = append(dst, afterOnset)
		dst = AppendSeconds(dst, duration)
	}
	dst = append(dst, afterText)
	if len(texts) == 0 {
		dst = append(dst, afterText)
	}
	for _, s := range texts {
		dst = append(append(dst, CleanText(s)...), afterText)
	}
	return append(dst, afterList)
}

// CleanText returns s as an annotation can say it: control characters become
// spaces, and what is not UTF-8 becomes U+FFFD.
func CleanText(s string) string {
	s = strings.ToValidUTF8(s, string(utf8.RuneError))
	return strings.Map(func(r rune) rune {
		if r < ' ' && r != '\t' && r != '\n' && r != '\r' {
			return ' '
		}
		return r
	}, s)
}

// ErrTAL is wrapped by the errors of annotation lists that make no sense.
var ErrTAL = errors.New("annotation list makes no sense")

// parseTALs calls each with every text of the lists in b, empty ones too. What
// follows the last list has to be zeros.
func parseTALs(b []byte, each func(list int, a Annotation)) error {
	for list := 0; len(b) > 0 && b[0] != afterList; list++ {
		one, rest, ended := bytes.Cut(b, []byte{afterList})
		if !ended {
			return fmt.Errorf("list %d has no end: %w", list, ErrTAL)
		}
		b = rest
		stamp, texts, ok := bytes.Cut(one, []byte{afterText})
		if !ok || len(texts) == 0 || texts[len(texts)-1] != afterText {
			return fmt.Errorf("list %d has no text that ends: %w", list, ErrTAL)
		}
		var a Annotation
		onset, duration, given := strings.Cut(string(stamp), string(rune(afterOnset)))
		if a.Onset, ok = parseOnset(onset); !ok {
			return fmt.Errorf("onset %q: %w", onset, ErrTAL)
		}
		if given {
			if a.Duration, ok = parseSeconds(duration); !ok || a.Duration < 0 {
				return fmt.Errorf("duration %q: %w", duration, ErrTAL)
			}
		}
		for text := range bytes.SplitSeq(texts[:len(texts)-1], []byte{afterText}) {
			a.Text = string(text)
			each(list, a)
		}
	}
	if len(bytes.TrimRight(b, "\x00")) > 0 {
		return fmt.Errorf("bytes after the last list: %w", ErrTAL)
	}
	return nil
}

// parseOnset wants the sign that every onset has.
func parseOnset(s string) (time.Duration, bool) {
	switch {
	case strings.HasPrefix(s, "+"):
		d, ok := parseSeconds(s[1:])
		return d, ok && s[1:2] != "-"
	case strings.HasPrefix(s, "-"):
		return parseSeconds(s)
	}
	return 0, false
}
