package frame

import (
	"time"

	"weald/ingest/sample"
)

// backwards is how far a time must lie before the row above for the second
// pass through a repeated hour to be the better reading: more than rows that
// a logger wrote in a slightly wrong order.
const backwards = 2 * time.Second

// layoutHas says what a layout of Go's time package has room for.
type layoutHas struct {
	minute bool // the date and the time, to the minute at least
	zone   bool // an offset or the name of one
}

// layoutParts finds out by writing times and reading them back.
func layoutParts(layout string) layoutHas {
	var has layoutHas
	at := time.Date(2011, 11, 22, 13, 47, 0, 0, time.UTC)
	if back, err := time.Parse(layout, at.Format(layout)); err == nil {
		has.minute = back.Equal(at)
	}
	elsewhere := time.Date(2011, 11, 22, 13, 47, 0, 0, time.FixedZone("XYZ", 5*3600+45*60))
	has.zone = at.Format(layout) != elsewhere.Format(layout)
	return has
}

// localTimes reads the times of one layout.
type localTimes struct {
	layout string
	zone   *time.Location
	zoned  bool // the layout has an offset or a zone's name
	last   sample.Instant
}

func newLocalTimes(t *TimeColumn) localTimes {
	return localTimes{t.Layout, t.Zone, layoutParts(t.Layout).zone, sample.Past}
}

// parse reads text; where it cannot, it says why.
func (l *localTimes) parse(text string) (sample.Instant, string) {
	zone := l.zone
	if !l.zoned || zone == nil {
		zone = time.UTC
	}
	t, err := time.ParseInLocation(l.layout, text, zone)
	if err != nil {
		return 0, "not a time of the layout"
	}
	if !l.zoned {
		return l.local(t)
	}
	// An abbreviation that the zone does not know is read as an offset of
	// nothing, silently; only a numeric offset has an empty name.
	if name, offset := t.Zone(); t.Location() != zone && t.Location() != time.UTC && name != "" && offset == 0 {
		return 0, "a zone abbreviation that the zone does not have"
	}
	return l.note(t)
}

// local finds the instant at which clocks in the zone show what wall shows in
// UTC.
func (l *localTimes) local(wall time.Time) (sample.Instant, string) {
	// The offsets of the day before and of the day after are all that can
	// apply: no zone changes twice within two days.
	const day = 24 * time.Hour
	first, firstOK := l.under(wall, wall.Add(-day))
	second, secondOK := l.under(wall, wall.Add(day))
	switch {
	case !firstOK && !secondOK:
		return 0, "a local time that does not exist, as clocks go forward then"
	case !firstOK:
		return l.note(second)
	case !secondOK || !second.After(first):
		return l.note(first)
	}
	at, ok := instant(first)
	if ok && l.last != sample.Past && l.last.Sub(at) > backwards {
		return l.note(second)
	}
	return l.note(first)
}

// under reads wall with the offset in force at the instant near, and reports
// whether that offset is in force at the result as well.
func (l *localTimes) under(wall, near time.Time) (time.Time, bool) {
	_, offset := near.In(l.zone).Zone()
	t := wall.Add(-time.Duration(offset) * time.Second)
	_, there := t.In(l.zone).Zone()
	return t, there == offset
}

func (l *localTimes) note(t time.Time) (sample.Instant, string) {
	at, ok := instant(t)
	if !ok {
		return 0, "a year that is not 1678 to 2261"
	}
	l.last = at
	return at, ""
}
