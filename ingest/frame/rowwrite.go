package frame

import (
	"bytes"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"weald/ingest/sample"
)

// AppendRow appends f as a row that c describes, with "\n", for emulation and
// tests. Columns that c does not read stay empty. c must pass Check. Where f
// has no row, dst comes back as it was, with an error: a reading that c would
// take for a mark, a source without a name, a time that the form cannot hold.
func (c *Delimited) AppendRow(dst []byte, f *Frame) ([]byte, error) {
	if len(f.Readings) != len(c.Channels) || f.Kind != Readings {
		return dst, unfit(f, "a row has %d readings, not %d", len(c.Channels), len(f.Readings))
	}
	row := make([]string, max(c.reach(), c.Columns))
	if c.Separator == spaceSeparator {
		for i := range row {
			row[i] = `""`
		}
	}
	marks := c.markValues()
	for i, col := range c.Channels {
		text, ok := c.number(f.Readings[i], marks)
		if !ok {
			return dst, unfit(f, "reading %d, %v, cannot be told from a mark", i, f.Readings[i])
		}
		if text != "" {
			row[col] = text
		}
	}
	if c.hasSource() {
		name, ok := c.sourceName(f.Source)
		if !ok {
			return dst, unfit(f, "the source has no name")
		}
		row[c.Source.Column] = c.quote(name)
	}
	if c.Time.Column >= 0 {
		text, ok := c.time(f.Wall)
		if !ok {
			return dst, unfit(f, "%v cannot be written as %s", f.Wall, c.Time.As)
		}
		row[c.Time.Column] = c.quote(text)
	}
	sep := c.Separator
	if sep == spaceSeparator {
		sep = " "
	}
	return append(append(dst, strings.Join(row, sep)...), '\n'), nil
}

// number writes one reading; NaN is an empty cell.
func (c *Delimited) number(v float64, marks []float64) (string, bool) {
	if math.IsNaN(v) {
		return "", true
	}
	if math.IsInf(v, 0) {
		return "", false
	}
	if slices.Contains(marks, v) {
		return "", false
	}
	text := strconv.FormatFloat(v, 'g', -1, 64)
	return strings.Replace(text, ".", string(rune(c.decimal())), 1), true
}

// sourceName returns the first name of a source in the order of the alphabet.
func (c *Delimited) sourceName(source uint16) (string, bool) {
	found, ok := "", false
	for name, s := range c.Source.Is {
		if s == source && (!ok || name < found) {
			found, ok = name, true
		}
	}
	return found, ok
}

// time writes at, or returns false where reading it back gives another.
func (c *Delimited) time(at sample.Instant) (string, bool) {
	switch c.Time.As {
	case InSeconds:
		return c.nanos(at, 9), true
	case InMilliseconds:
		return c.nanos(at, 6), true
	case InRFC3339:
		back, ok := parseRFC3339([]byte(at.String()))
		return at.String(), ok && back == at
	}
	zone := c.Time.Zone
	if zone == nil {
		zone = time.UTC
	}
	text := at.Time().In(zone).Format(c.Time.Layout)
	local := newLocalTimes(&c.Time)
	back, why := local.parse(text)
	return text, why == "" && back == at
}

// nanos writes at as a decimal number of 10^-scale.
func (c *Delimited) nanos(at sample.Instant, scale int) string {
	n, sign := uint64(at), ""
	if at < 0 {
		n, sign = -n, "-"
	}
	digits := strconv.FormatUint(n, 10)
	if pad := scale + 1 - len(digits); pad > 0 {
		digits = strings.Repeat("0", pad) + digits
	}
	whole, rest := digits[:len(digits)-scale], strings.TrimRight(digits[len(digits)-scale:], "0")
	if rest == "" {
		return sign + whole
	}
	return sign + whole + string(rune(c.decimal())) + rest
}

// quote puts text in quotes where it needs them.
func (c *Delimited) quote(text string) string {
	special := "\" \t" + c.Separator
	if c.Separator == spaceSeparator {
		special = "\" \t"
	}
	if text != "" && !strings.ContainsAny(text, special) {
		return text
	}
	return `"` + string(bytes.ReplaceAll([]byte(text), []byte(`"`), []byte(`""`))) + `"`
}
