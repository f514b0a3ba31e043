package rules

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/rules/hold"
)

// sentence explains an event with the numbers that made it true: the limit, for
// how long, and what was measured then, and where.
func sentence(e *alert.Event, r *Rule, where, note string) string {
	l, sure := r.Limit, r.sure()
	s := said{
		subject: spoken(strings.TrimSuffix(e.Signal, ".pressure")),
		is:      l.words(e.Value, e.Unit) + sure, asked: l.Words(e.Unit) + sure, note: note,
	}
	if !sample.IsUnknown(e.Value) {
		s.reading = Quantity(e.Value, e.U, e.Unit, e.Limit)
	}
	s.where = where
	return s.sentence(e)
}

// Asks says what a rule with a limit asks, with the unit of what it is for: "above
// 60 mmHg (at least 95 % sure)".
func (r *Rule) Asks(unit string) string { return r.Limit.Words(unit) + r.sure() }

// sure says with what certainty a rule judges, "" where it compares the value.
func (r *Rule) sure() string {
	switch p := r.certainty(); {
	case p > hold.Half:
		return " (at least " + percent(p) + " sure)"
	case p < hold.Half:
		return " (a chance of at least " + percent(p) + ")"
	}
	return ""
}

// percent writes a probability: "95 %", "99.9 %".
func percent(p float64) string { return strconv.FormatFloat(100*p, 'g', 6, 64) + " %" }

// reservation says that a value rests on more than was calibrated, or on what was
// calibrated too long ago.
func reservation(extrapolated, expired bool) string {
	const old = "past the date of its calibration"
	switch {
	case extrapolated && expired:
		return "The value is extrapolated: it lies outside of what was calibrated; and it is " + old
	case extrapolated:
		return "The value is extrapolated: it lies outside of what was calibrated"
	case expired:
		return "The value is " + old
	}
	return ""
}

// sentence puts the parts together.
func (s *said) sentence(e *alert.Event) string {
	reading, where, note := s.reading, "", ""
	if reading == "" {
		reading = "no current reading"
	}
	if s.where != "" {
		where = ", " + s.where
	}
	if s.note != "" {
		note = ". " + s.note
	}
	switch e.What {
	case alert.Raised:
		lasting := ""
		if e.Held > 0 {
			lasting = " for " + Duration(e.Held)
		}
		return fmt.Sprintf("%s %s%s: %s when raised%s%s", s.subject, s.is, lasting, reading, where, note)
	case alert.Cleared:
		return fmt.Sprintf("%s no longer %s: %s%s; the alert stood for %s%s", s.subject, s.asked, reading, where, Duration(e.Held), note)
	case alert.Unknown:
		return fmt.Sprintf("%s has no current reading; the alert (%s), raised %s ago, stays", s.subject, s.asked, Duration(e.Held))
	}
	return fmt.Sprintf("%s reads again: %s; the alert (%s) was raised %s ago%s", s.subject, reading, s.asked, Duration(e.Held), note)
}

// spokenSignal makes the name of a signal readable.
func spokenSignal(name string) string {
	return spoken(strings.ReplaceAll(strings.TrimSuffix(name, ".pressure"), ".", " "))
}

// spoken makes an id readable.
func spoken(id string) string { return strings.ReplaceAll(id, "_", " ") }

// Words says what a limit asks, with the unit of what it is for: "above 60 mmHg".
func (l *Limit) Words(unit string) string { return l.words(math.NaN(), unit) }

// words is Words; for an outside limit, it says which side v is on.
func (l *Limit) words(v float64, unit string) string {
	number := func(x float64) string { return plain(x) + unitWord(unit) }
	switch {
	case l.Above != nil:
		return "above " + number(*l.Above)
	case l.Below != nil:
		return "below " + number(*l.Below)
	case v > l.Outside[1]:
		return "above " + number(l.Outside[1])
	case v < l.Outside[0]:
		return "below " + number(l.Outside[0])
	}
	return "outside " + plain(l.Outside[0]) + " to " + number(l.Outside[1])
}

// mostDecimals is how far a value is written out to tell it from a limit.
const mostDecimals = 3

// Quantity writes a value with its unit and, where it is known, its standard
// uncertainty.
//
// A pressure is a whole number: thin force sensors support no more. Where the
// uncertainty is below 1 both have one decimal, however sure the figures pretend
// to be. What is small and no pressure has one decimal too. A value that would
// then look the same as limit, which it is compared with, has as many decimals
// as it takes to tell the two apart, up to three; NaN is no limit.
func Quantity(v, u float64, unit string, limit float64) string {
	doubtful := u > 0 && !math.IsInf(u, 0) // which NaN is not
	decimals := 0
	switch {
	case doubtful && u < 0.95:
		decimals, u = 1, max(u, 0.1)
	case !doubtful && unit != "mmHg" && math.Abs(v) < 9.95:
		decimals = 1
	}
	s := fixed(v, decimals)
	for v != limit && decimals < mostDecimals && s == fixed(limit, decimals) {
		decimals++
		s = fixed(v, decimals)
	}
	if doubtful {
		s += " ± " + fixed(u, decimals)
	}
	return s + unitWord(unit)
}

// fixed writes v with that many decimals, and never as "-0".
func fixed(v float64, decimals int) string {
	scale := math.Pow10(decimals)
	return strconv.FormatFloat(math.Round(v*scale)/scale+0, 'f', decimals, 64)
}

// plain writes a number from the configuration as people write it: never with
// an exponent.
func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// unitWord returns a unit with the blank before it.
func unitWord(unit string) string {
	switch unit {
	case "", "1":
		return ""
	case "cm2":
		return " cm²"
	}
	return " " + unit
}

// Duration writes d as people say it: "45 s", "1 min 30 s", "2 h 5 min". It
// rounds to the nearest tenth below a second, else to the nearest second, and
// from an hour on to the nearest minute.
func Duration(d time.Duration) string {
	switch {
	case d < 0:
		return "-" + Duration(-d)
	case d < 10*time.Second && d%time.Second != 0:
		return strconv.FormatFloat(d.Seconds(), 'f', 1, 64) + " s"
	case d >= time.Hour:
		d = d.Round(time.Minute)
	default:
		d = d.Round(time.Second)
	}
	h, m, s := int64(d/time.Hour), int64(d%time.Hour/time.Minute), int64(d%time.Minute/time.Second)
	var parts []string
	for _, p := range []struct {
		n    int64
		unit string
	}{{h / 24, "d"}, {h % 24, "h"}, {m, "min"}, {s, "s"}} {
		if p.n != 0 {
			parts = append(parts, fmt.Sprintf("%d %s", p.n, p.unit))
		}
	}
	if len(parts) == 0 {
		return "0 s"
	}
	return strings.Join(parts, " ")
}
