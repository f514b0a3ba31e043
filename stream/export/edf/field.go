package edf

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// fields builds a header of left-justified fields and keeps the first error.
type fields struct {
	b   []byte
	of  string // the signal whose fields are being written
	err error
}

func (f *fields) text(name, s string, width int) {
	if f.err == nil {
		switch {
		case len(s) > width:
			f.err = f.wrong(name, fmt.Sprintf("%q has %d characters: the most is %d", s, len(s), width))
		case !printable(s):
			f.err = f.wrong(name, fmt.Sprintf("%q has characters that are not printable ASCII", s))
		}
	}
	f.b = append(f.b, s[:min(len(s), width)]...)
	for range width - min(len(s), width) {
		f.b = append(f.b, ' ')
	}
}

func (f *fields) wrong(name, what string) error {
	if f.of != "" {
		return fmt.Errorf("%s of signal %q: %s", name, f.of, what)
	}
	return fmt.Errorf("%s: %s", name, what)
}

func (f *fields) integer(name string, n, width int) { f.text(name, strconv.Itoa(n), width) }

func (f *fields) number(name string, v float64, width int) {
	f.text(name, strconv.FormatFloat(v, 'f', -1, 64), width)
}

func (f *fields) seconds(name string, d time.Duration, width int) {
	f.text(name, string(AppendSeconds(nil, d)), width)
}

// printable reports whether s has the characters that a header may have.
func printable(s string) bool {
	for i := range len(s) {
		if s[i] < 32 || s[i] > 126 {
			return false
		}
	}
	return true
}

// AppendSeconds appends d in seconds, exactly and with no more decimals than it
// needs; a point, never a comma. It is how every duration of the format is
// written.
func AppendSeconds(dst []byte, d time.Duration) []byte {
	n := uint64(d)
	if d < 0 {
		dst, n = append(dst, '-'), -n
	}
	dst = strconv.AppendUint(dst, n/1e9, 10)
	frac := n % 1e9
	if frac != 0 {
		dst = append(dst, '.')
	}
	for digit := uint64(1e8); frac > 0; digit /= 10 {
		dst = append(dst, byte('0'+frac/digit))
		frac %= digit
	}
	return dst
}

// parseSeconds is the inverse of AppendSeconds: decimal digits with at most one
// point between them. Decimals beyond the ninth are dropped.
func parseSeconds(s string) (time.Duration, bool) {
	digits, negative := strings.CutPrefix(s, "-")
	whole, frac, point := strings.Cut(digits, ".")
	if !allDigits(whole) || point && !allDigits(frac) || len(whole) > 9 {
		return 0, false
	}
	sec, _ := strconv.ParseInt(whole, 10, 64)
	ns, _ := strconv.ParseInt((frac + "000000000")[:9], 10, 64)
	d := time.Duration(sec*1e9 + ns)
	if negative {
		d = -d
	}
	return d, true
}

func allDigits(s string) bool {
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' {
			return false
		}
	}
	return s != ""
}

// Years that two digits can say: 85 to 99 are of the last century.
const (
	firstYear = 1985
	lastYear  = 2084
)

// dateField returns the start date as dd.mm.yy. The year of a date that two
// digits cannot say is "yy", and then only the recording field has it.
func dateField(t time.Time) string {
	if t.Year() < firstYear || t.Year() > lastYear {
		return t.Format("02.01.") + "yy"
	}
	return t.Format("02.01.06")
}

// fullDate returns t as dd-MMM-yyyy with the month in English capitals.
func fullDate(t time.Time) string { return strings.ToUpper(t.Format("02-Jan-2006")) }

// Unstated stands in subfields for what is not known or not to be told.
const Unstated = "X"

// subfield returns s as one subfield of the patient or recording field: spaces
// become underscores, what is not printable ASCII a question mark, and nothing
// becomes Unstated.
func subfield(s string) string {
	s = strings.Map(func(r rune) rune {
		switch {
		case r == ' ':
			return '_'
		case r < 32 || r > 126:
			return '?'
		}
		return r
	}, strings.TrimSpace(s))
	if s == "" {
		return Unstated
	}
	return s
}

// PatientField returns the patient field of somebody of whom nothing but a code
// is told: sex, birthday and name stay Unstated.
func PatientField(code string) string {
	return strings.Join([]string{subfield(code), Unstated, Unstated, Unstated}, " ")
}

// RecordingField returns the recording field: the full date of start, the
// administration code, the technician, the equipment, and further subfields.
func RecordingField(start time.Time, admin, technician, equipment string, more ...string) string {
	f := []string{"Startdate", fullDate(start), subfield(admin), subfield(technician), subfield(equipment)}
	for _, s := range more {
		f = append(f, subfield(s))
	}
	return strings.Join(f, " ")
}
