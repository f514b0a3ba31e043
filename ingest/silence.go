package ingest

import (
	"fmt"
	"time"

	"weald/ingest/assembly"
	"weald/ingest/sample"
)

// leapShown is how long it is said that a source's clock was set, on the
// daemon's clock: long enough for somebody to come by.
const leapShown = 10 * time.Minute

// reportsWithin is how far apart the frames of a source may be, that is alive
// and has no readings to send.
const reportsWithin = 2 * time.Minute

// silent reports whether the source has given no readings for longer than it
// may, on a connection that has been open since the given instant. What else it
// says does not count, for nothing is judged by it.
func (s *source) silent(now, since sample.Instant, grace time.Duration) bool {
	return now.Sub(max(s.lastPass, since)) >= max(silentAfter, s.patience(), grace)
}

// silence says in what way a source is silent.
func (s *source) silence(now, since sample.Instant, stats *assembly.Stats, stranger int) string {
	last := max(s.lastPass, since)
	switch {
	case s.lastSeen > last && now.Sub(s.lastSeen) < max(reportsWithin, s.patience()):
		return s.chatter(now.Sub(last).Truncate(time.Second), stats)
	case s.lastSeen != sample.Past:
		return fmt.Sprintf("nothing from it for %v", now.Sub(max(s.lastSeen, since)).Truncate(time.Second))
	case stranger >= 0:
		return fmt.Sprintf("nothing from it so far; source %d sends and is not configured: is the number right?", stranger)
	}
	return "nothing from it so far"
}

// chatter says what a source sends that has given no readings for so long.
func (s *source) chatter(lasts time.Duration, stats *assembly.Stats) string {
	switch {
	case !s.unheard:
		return fmt.Sprintf("it reports its status, but no readings for %v", lasts)
	case s.doubted != "":
		return fmt.Sprintf("its readings have been refused for %v (%s): is its clock right?", lasts, s.doubted)
	case stats.Unplaced > s.then.Unplaced:
		return fmt.Sprintf("it has sent none but stored readings for %v, whose time cannot be known", lasts)
	case stats.Repeats > s.then.Repeats:
		return fmt.Sprintf("it has sent nothing for %v but what it had sent before", lasts)
	}
	return fmt.Sprintf("no whole readings from it for %v", lasts)
}

// leapt says what became of a clock that was set.
func leapt(l *assembly.Leap, now sample.Instant) string {
	way, then := "ahead", "its readings follow it"
	if l.By < 0 {
		way = "back"
	}
	if l.Undone {
		then = "its readings go on as if it had not been"
	}
	return fmt.Sprintf("its clock was set %s by %s, %v ago: %s", way, longTime(l.By.Abs()), now.Sub(l.At).Truncate(time.Second), then)
}

// longTime formats a time that may be years.
func longTime(d time.Duration) string {
	const day = 24 * time.Hour
	if d >= 2*day {
		return fmt.Sprintf("%d days", (d+day/2)/day)
	}
	return d.Round(time.Second).String()
}
