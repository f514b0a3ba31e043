package frame

import (
	"fmt"
	"strings"
	"time"

	"weald/ingest/sample"
)

// Delimited describes the text columns of a logger: one scan a row. Columns
// count from 0.
//
// What is read, and what is refused:
//
//   - Rows end in "\n" or "\r\n" and are at most 1 MiB long. A byte order mark
//     in front and empty rows are skipped.
//   - A cell may be quoted as in RFC 4180, except that it cannot hold a line
//     break: a stray quote costs its row and never the rest of the file.
//   - An empty cell, and one that Empty lists, is no reading (NaN). Anything
//     else must be a decimal number, with a sign and an exponent where the
//     logger writes them; "nan" and "inf" are numbers to no one. One bad cell
//     refuses the row, as the others may have moved.
//   - A row must reach the last column that is read. More columns are fine,
//     being quantities that nobody asked for, unless Columns says how many
//     there are: then only empty ones may follow, and a row that lost its line
//     ending is found out. Without Columns, a row that is wider than the first
//     one, or than its header, is taken and told by Frame.Wide.
type Delimited struct {
	// Separator is one character, or "space" for any run of spaces and tabs.
	Separator   string
	HeaderLines int // lines to skip at the start of each connection or file
	Columns     int // how many columns a row has, 0 for any number

	Time     TimeColumn
	Channels []int // the column of each channel
	Source   SourceColumn

	// Empty lists what the logger writes for "no reading". A mark that is a
	// number matches by its value: -999 stands for -999.0 as well.
	Empty []string

	// Decimal is '.' or ',' in numbers and in seconds; 0 means '.'.
	Decimal byte
}

// A TimeForm says how a logger writes times.
type TimeForm string

// The forms of a time. Seconds and milliseconds count from 1970 UTC, or from
// wherever the logger starts; decimals are kept to the nanosecond.
const (
	InSeconds      TimeForm = "seconds"
	InMilliseconds TimeForm = "milliseconds"
	InRFC3339      TimeForm = "rfc3339"
	InLayout       TimeForm = "layout"
)

// TimeColumn says when a row was measured.
type TimeColumn struct {
	Column int // -1: there is none, rows are Period apart and begin at Start
	As     TimeForm

	// Layout is in the notation of Go's time package, such as "2006-01-02
	// 15:04:05". Zone is where its times are local, unless the layout itself
	// has an offset.
	//
	// In the hour that comes twice when clocks go back, a time is the first of
	// the two, unless that would be more than 2 s before the row above: then
	// it is the second. A time in the hour that clocks skip does not exist and
	// is refused: the logger's clock is in another zone than the one given.
	Layout string
	Zone   *time.Location

	Period time.Duration
	Start  sample.Instant
}

// SourceColumn says which source a row belongs to, for files where several
// share the rows. Where Is is empty, all rows are of source 0.
type SourceColumn struct {
	Column int // -1: there is none
	Is     map[string]uint16
}

// A Problem is one thing that is wrong with a description. Field is the name
// that the configuration gives the field, such as "time.column".
type Problem struct {
	Field   string
	Message string
}

// Check returns everything that is wrong with c, in the order of its fields.
func (c *Delimited) Check() []Problem {
	var ps []Problem
	add := func(field, format string, args ...any) {
		ps = append(ps, Problem{field, fmt.Sprintf(format, args...)})
	}
	decimal := c.decimal()
	switch s := c.Separator; {
	case s == spaceSeparator:
	case len(s) != 1 || s[0] >= 0x80:
		add("separator", "%q is not one ASCII character or %q", s, spaceSeparator)
	case s[0] == ' ':
		add("separator", "a single blank is written %q, which takes any number of them", spaceSeparator)
	case s[0] == '"' || s[0] == '\r' || s[0] == '\n' || isNumberByte(s[0]):
		add("separator", "%q cannot separate columns of numbers", s)
	case s[0] == decimal:
		add("separator", "%q is the decimal mark too", s)
	}
	if c.HeaderLines < 0 {
		add("header_lines", "%d is negative", c.HeaderLines)
	}
	if need := c.reach(); c.Columns != 0 && c.Columns < need {
		add("columns", "%d columns do not reach column %d, counted from 0", c.Columns, need-1)
	}
	c.Time.check(add)
	if len(c.Channels) == 0 {
		add("channels", "no column is a channel")
	}
	taken := map[int]string{}
	if c.Time.Column >= 0 {
		taken[c.Time.Column] = "the time"
	}
	for i, col := range c.Channels {
		field := fmt.Sprintf("channels[%d]", i)
		switch by, ok := taken[col]; {
		case col < 0 || col > maxColumn:
			add(field, "column %d is not 0 to %d", col, maxColumn)
		case ok:
			add(field, "column %d is %s already", col, by)
		default:
			taken[col] = fmt.Sprintf("channel %d", i)
		}
	}
	if c.Source.Column > maxColumn {
		add("source.column", "column %d is not 0 to %d", c.Source.Column, maxColumn)
	}
	if c.hasSource() {
		if by, ok := taken[c.Source.Column]; ok {
			add("source.column", "column %d is %s already", c.Source.Column, by)
		}
	} else if c.Source.Column > 0 {
		add("source.is", "no text is given for any source")
	}
	if decimal != '.' && decimal != ',' {
		add("decimal", "%q is neither \".\" nor \",\"", decimal)
	}
	return ps
}

func (t *TimeColumn) check(add func(field, format string, args ...any)) {
	if t.Column < 0 {
		if t.Period <= 0 {
			add("time.period", "rows without a time need a period above 0")
		}
		return
	}
	if t.Column > maxColumn {
		add("time.column", "column %d is not 0 to %d", t.Column, maxColumn)
	}
	switch t.As {
	case InSeconds, InMilliseconds, InRFC3339:
	case InLayout:
		switch layoutHas := layoutParts(t.Layout); {
		case !layoutHas.minute:
			add("time.as", "%q is not a layout with year, month, day, hour and minute, such as %q", t.Layout, time.DateTime)
		case !layoutHas.zone && t.Zone == nil:
			add("time.zone", "the layout has no offset, so the zone of its times is needed")
		}
	default:
		add("time.as", "%q is not seconds, milliseconds, rfc3339 or a layout", t.As)
	}
}

// The limits of the delimited format.
const (
	maxRow         = 1 << 20 // bytes
	maxColumn      = 1<<16 - 1
	spaceSeparator = "space"
)

func (c *Delimited) decimal() byte {
	if c.Decimal == 0 {
		return '.'
	}
	return c.Decimal
}

func (c *Delimited) hasSource() bool { return c.Source.Column >= 0 && len(c.Source.Is) > 0 }

// reach returns how many columns a row must have.
func (c *Delimited) reach() int {
	last := c.Time.Column
	for _, col := range c.Channels {
		last = max(last, col)
	}
	if c.hasSource() {
		last = max(last, c.Source.Column)
	}
	return max(last, 0) + 1
}

// markValues returns the marks of Empty that are numbers.
func (c *Delimited) markValues() []float64 {
	var vs []float64
	for _, m := range c.Empty {
		if v, bad := parseFloat([]byte(strings.TrimSpace(m)), c.decimal()); bad == "" {
			vs = append(vs, v)
		}
	}
	return vs
}

// isNumberByte reports whether b can be part of a number, so that it cannot
// stand between two of them.
func isNumberByte(b byte) bool {
	return '0' <= b && b <= '9' || b == '+' || b == '-' || b == 'e' || b == 'E' || b == '.'
}
