package importing

import (
	"time"

	"weald/ingest/sample"
)

// A pass says which pass of an hour that comes twice an instant lies in.
type pass uint8

const (
	only   pass = iota // the local time comes once
	first              // it will come again
	second             // it came before
)

// A fold finds hours that come twice, because clocks in a zone go back.
type fold struct {
	zone *time.Location

	// From clear.from until before clear.to the last answer was only.
	clear struct{ from, to sample.Instant }
}

// pass says which pass at lies in.
func (f *fold) pass(at sample.Instant) pass {
	if f.clear.from <= at && at < f.clear.to {
		return only
	}
	t := at.Time().In(f.zone)
	begin, end := t.ZoneBounds()
	_, offset := t.Zone()
	from, to := sample.Past, sample.Never // of what comes once
	if !begin.IsZero() {
		_, before := begin.Add(-time.Nanosecond).Zone()
		if back := time.Duration(before-offset) * time.Second; back > 0 {
			if t.Sub(begin) < back {
				return second
			}
			begin = begin.Add(back)
		}
		from = instant(begin, from)
	}
	if !end.IsZero() {
		_, after := end.Zone()
		if back := time.Duration(offset-after) * time.Second; back > 0 {
			if end.Sub(t) <= back {
				return first
			}
			end = end.Add(-back)
		}
		to = instant(end, to)
	}
	f.clear.from, f.clear.to = from, to
	return only
}

// instant converts t, or returns otherwise where an Instant cannot hold it.
func instant(t time.Time, otherwise sample.Instant) sample.Instant {
	if y := t.Year(); y < 1678 || y > 2261 {
		return otherwise
	}
	return sample.At(t)
}
