package rules

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
)

// sentence explains an event with the numbers that made it true: the limit, for
// how long, and what was measured then, and where.
func sentence(e *alert.Event, l *Limit, where string) string {
	subject := strings.ReplaceAll(strings.TrimSuffix(e.Signal, ".pressure"), "_", " ")
	reading := "no current reading"
	if !sample.IsUnknown(e.Value) {
		reading = quantity(e.Value, e.U, e.Unit, e.Limit)
	}
	if where != "" {
		where = ", " + where
	}
	asked := l.words(math.NaN(), e.Unit)
	switch e.What {
	case alert.Raised:
		lasting := ""
		if e.Held > 0 {
			lasting = " for " + Duration(e.Held)
		}
		return fmt.Sprintf("%s %s%s: %s when raised%s", subject, l.words(e.Value, e.Unit), lasting, reading, where)
	case alert.Cleared:
		return fmt.Sprintf("%s no longer %s: %s%s; the alert stood for %s", subject, asked, reading, where, Duration(e.Held))
	case alert.Unknown:
		return fmt.Sprintf("%s has no current reading; the alert (%s), raised %s ago, stays", subject, asked, Duration(e.Held))
	}
	return fmt.Sprintf("%s reads again: %s; the alert (%s) was raised %s ago", subject, reading, asked, Duration(e.Held))
}

// words says what the limit asks; for an outside limit, which side v is on.
func (l *Limit) words(v float64, unit string) string {
	number := func(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) + " " + unit }
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
	return "outside " + strconv.FormatFloat(l.Outside[0], 'g', -1, 64) + " to " + number(l.Outside[1])
}

// quantity writes a value with its uncertainty, to no more digits than the
// uncertainty supports, but to as many as it takes to tell it from the limit
// that it is compared with.
func quantity(v, u float64, unit string, limit float64) string {
	decimals := 0
	switch {
	case u > 0 && u < 10: // the uncertainty to one significant digit
		decimals = min(3, max(0, -int(math.Floor(math.Log10(u)))))
	case math.Abs(v) < 10:
		decimals = 1
	}
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	for v != limit && decimals < 3 && same(s, limit, decimals) {
		decimals++
		s = strconv.FormatFloat(v, 'f', decimals, 64)
	}
	if u > 0 {
		s += " ± " + strconv.FormatFloat(u, 'f', decimals, 64)
	}
	return s + " " + unit
}

func same(s string, limit float64, decimals int) bool {
	return s == strconv.FormatFloat(limit, 'f', decimals, 64)
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
