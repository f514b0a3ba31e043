package view

import (
	"math"
	"strconv"
	"time"

	"weald/ingest/sample"
	"weald/rules"
)

// quantity writes a value with its unit and, where it is known, its standard
// uncertainty to one significant digit (whole numbers from 1 on), and gives the
// value no more decimals than that. Without an uncertainty it is a whole
// number: thin force sensors support no more.
func quantity(value, u float64, unit string) string {
	if sample.IsUnknown(u) || math.IsInf(u, 0) || u <= 0 {
		return fixed(value, 0) + unitWord(unit)
	}
	decimals := 0
	if u < 0.95 {
		// One decimal at most, however sure the figures pretend to be.
		decimals = 1
		u = max(u, 0.1)
	}
	return fixed(value, decimals) + " ± " + fixed(u, decimals) + unitWord(unit)
}

// fixed writes v with that many decimals, and never as "-0".
func fixed(v float64, decimals int) string {
	scale := math.Pow10(decimals)
	v = math.Round(v*scale)/scale + 0
	return strconv.FormatFloat(v, 'f', decimals, 64)
}

// plain writes a number from the configuration as it was written there.
func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// unitWord returns a unit with the blank before it.
func unitWord(unit string) string {
	switch unit {
	case "", "1":
		return ""
	case "cm2":
		return " cm²"
	case "%":
		return " %"
	}
	return " " + unit
}

// lasted writes how long something has gone on: whole seconds, from ten minutes
// on whole minutes, cut and not rounded, so that nothing is said to have lasted
// longer than it has.
func lasted(d time.Duration) string {
	switch {
	case d > 0 && d < time.Second:
		return "under 1 s"
	case d < 10*time.Minute:
		return rules.Duration(d.Truncate(time.Second))
	}
	return rules.Duration(d.Truncate(time.Minute))
}

// clock writes the time of day, and the date where it is not today's.
func (b *Builder) clock(i, now sample.Instant) string {
	t, today := i.Time().In(b.zone), now.Time().In(b.zone)
	if t.Year() == today.Year() && t.YearDay() == today.YearDay() {
		return t.Format("15:04:05")
	}
	return t.Format("2 January 15:04:05")
}
