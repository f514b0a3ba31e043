package paper

import (
	"math"
	"strconv"
	"strings"
	"time"

	"weald/ingest/sample"
	"weald/rules"
)

// NotKnown is said where there is no number.
const NotKnown = "not known"

// Lasting writes how long something was, cut to whole seconds so that nothing is
// said to have been longer than it was.
func Lasting(d time.Duration) string {
	switch {
	case d > 0 && d < time.Second:
		return "under 1 s"
	case d >= time.Hour:
		return rules.Duration(d.Truncate(time.Minute))
	}
	return rules.Duration(d.Truncate(time.Second))
}

// Share writes a part of a whole in percent. What is not all is not said to be, nor
// what is something to be nothing. Of nothing there is no share.
func Share(part, whole time.Duration) string {
	switch p := math.Floor(1000*float64(part)/float64(whole)+1e-9) / 10; {
	case whole <= 0:
		return NotKnown
	case part >= whole:
		return "100 %"
	case part <= 0:
		return "0 %"
	case p < 0.1:
		return "under 0.1 %"
	default:
		return strconv.FormatFloat(p, 'f', 1, 64) + " %"
	}
}

// Fixed writes a number with that many decimals; what rounds to nothing has no minus.
func Fixed(v float64, decimals int) string {
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Trim(s, "-0.") == "" {
		return strings.TrimPrefix(s, "-")
	}
	return s
}

// Signed is Fixed with the sign of what is more than nothing, too.
func Signed(v float64, decimals int) string {
	s := Fixed(v, decimals)
	if v > 0 && strings.Trim(s, "0.") != "" {
		return "+" + s
	}
	return s
}

// Value writes a value with its unit and its standard uncertainty where that is
// known.
func Value(v, u float64, unit string) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return NotKnown
	}
	return rules.Quantity(v, u, unit, math.NaN())
}

// Times writes times as people in a zone read them.
type Times struct{ Zone *time.Location }

// Full writes date and time.
func (t Times) Full(i sample.Instant) string {
	return i.Time().In(t.Zone).Format("2 January 2006, 15:04:05")
}

// Short writes date and time for tables.
func (t Times) Short(i sample.Instant) string { return i.Time().In(t.Zone).Format("2 Jan 15:04:05") }

// Day writes a date.
func (t Times) Day(i sample.Instant) string { return i.Time().In(t.Zone).Format("2 January 2006") }

// Name is the zone's.
func (t Times) Name() string { return t.Zone.String() }
