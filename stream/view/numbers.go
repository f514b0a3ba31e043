package view

import (
	"time"

	"weald/ingest/sample"
	"weald/rules"
)

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
