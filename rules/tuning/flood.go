package tuning

import (
	"time"

	"weald/ingest/sample"
)

// floods counts the floods among raises at the given instants, which ascend, and
// how long they lasted until the instant to at most. A flood begins with the
// raise that makes more than Busy within the last Period, and ends when fewer
// than FloodOver are left in it.
func floods(at []sample.Instant, to sample.Instant) (n int, lasting time.Duration) {
	flooded, since := false, sample.Instant(0)
	first := 0 // of those within the last Period
	// leave lets the oldest raises leave the Period until an instant.
	leave := func(until sample.Instant, i int) {
		for first < i && at[first].Add(Period) <= until {
			gone := at[first].Add(Period)
			first++
			if flooded && i-first < FloodOver {
				flooded = false
				lasting += gone.Sub(since)
			}
		}
	}
	for i, t := range at {
		leave(t, i)
		if !flooded && i+1-first > Busy {
			flooded, since = true, t
			n++
		}
	}
	leave(to, len(at))
	if flooded {
		lasting += to.Sub(since)
	}
	return n, lasting
}
