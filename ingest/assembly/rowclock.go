package assembly

import (
	"time"

	"weald/ingest/clock"
	"weald/ingest/sample"
)

// What the package documentation explains under Rows.
const (
	agreeing     = 5 // rows
	agreeFor     = 2 * time.Second
	agreePeriods = 3

	lateFor    = 20 * time.Second
	lateBeaten = 50 * time.Millisecond

	// A clock may be a thousandth fast or slow, which is far worse than any is.
	pacePart = 1000

	// farthest bounds what can be reckoned with: beyond it a time is nonsense.
	farthest = 80 * 365 * 24 * time.Hour
)

// A rowClock makes event times of the time of day that rows of a live link
// carry. The package documentation has its rules. "Ahead" is event time minus
// arrival; a delay makes it less, never more.
type rowClock struct {
	period time.Duration // nominal, between rows; 0 not known

	begun   bool
	epochs  int
	shift   time.Duration  // event time minus the row's own
	ahead   time.Duration  // of the fastest rows, following a clock that loses
	newest  sample.Instant // event time, of the rows that were accepted
	arrival sample.Instant // of the last of them

	trial trial
	late  lateness
	leap  Leap
}

// A trial is an unbroken row of rows whose time has leapt.
type trial struct {
	rows    int
	first   time.Duration // ahead, of the first
	fastest time.Duration // the most that any is ahead
	since   sample.Instant
}

// lateness watches an unbroken row of rows that come later than the clock
// allows for, as after a blocked way, or with a clock that was set back.
type lateness struct {
	rows       int
	least      time.Duration // how late the fastest of them is
	beaten     time.Duration // what has to be beaten by lateBeaten
	since, row sample.Instant
}

// A Leap is a change of the time of day that rows carry.
type Leap struct {
	At sample.Instant // when it was believed, by arrival; Past for no leap so far
	By time.Duration  // forward; negative where the clock was set back

	// Undone says that event times go on as if the clock had not been set;
	// otherwise they follow it.
	Undone bool
}

// place returns the event time of a row. If it is refused, ok is false and off
// is how far its time is from what it should be.
func (c *rowClock) place(row, arrival sample.Instant) (at sample.Instant, off time.Duration, ok bool) {
	own, sane := between(arrival, row)
	if !sane {
		c.trial.rows = 0
		return sample.Never, own, false
	}
	silence := time.Duration(0)
	if c.begun {
		silence = max(arrival.Sub(c.arrival), 0)
	}
	tolerance := clock.Jump + silence/pacePart
	at = row.Add(c.shift)
	ahead := own + c.shift
	switch {
	case ahead > max(c.ahead, 0)+tolerance || c.begun && at < c.newest.Add(-clock.Jump):
		c.late.rows = 0
		if !c.agrees(ahead, arrival) {
			return sample.Never, ahead - c.ahead, false
		}
		c.begin(c.trial.fastest, row, arrival)
	case !c.begun:
		c.begin(ahead, row, arrival)
	case ahead < c.ahead-tolerance:
		silence, c.trial.rows = 0, 0 // the row tells nothing of the clock's pace
		if c.stays(c.ahead-ahead, row, arrival) {
			c.begin(c.ahead-c.late.least, row, arrival)
		}
	default:
		c.trial.rows, c.late.rows = 0, 0
	}
	at, ahead = row.Add(c.shift), own+c.shift
	c.ahead = max(ahead, c.ahead-silence/pacePart)
	c.newest, c.arrival = max(c.newest, at), arrival
	return at, 0, true
}

// between returns the time from arrival to row, or false and which way it is
// where it is too long to be true.
func between(arrival, row sample.Instant) (time.Duration, bool) {
	switch {
	case row > arrival.Add(farthest):
		return farthest, false
	case row < arrival.Add(-farthest):
		return -farthest, false
	}
	return row.Sub(arrival), true
}

// begin starts an epoch with a row in which the fastest rows are so far ahead.
func (c *rowClock) begin(ahead time.Duration, row, arrival sample.Instant) {
	own, undone := ahead-c.shift, false
	if c.begun {
		undone = row <= c.newest || own.Abs() > c.ahead.Abs()+clock.Jump
		c.leap = Leap{At: arrival, By: ahead - c.ahead, Undone: undone}
	} else {
		c.newest = sample.Past
	}
	if undone {
		c.shift += c.ahead - ahead
	} else {
		c.shift, c.ahead = 0, own
	}
	c.begun = true
	c.epochs++
	c.trial.rows, c.late.rows = 0, 0
}

// agrees reports whether enough rows in a row have leapt alike.
func (c *rowClock) agrees(ahead time.Duration, arrival sample.Instant) bool {
	t := &c.trial
	if t.rows == 0 || (ahead-t.first).Abs() > clock.Jump {
		*t = trial{first: ahead, fastest: ahead, since: arrival}
	}
	t.rows++
	t.fastest = max(t.fastest, ahead)
	return t.rows >= agreeing && arrival.Sub(t.since) >= max(agreeFor, agreePeriods*c.period)
}

// stays reports whether a row that is late by so much shows that the lateness
// has come to stay. A queue that is drained gets shorter by the one clock or
// the other.
func (c *rowClock) stays(by time.Duration, row, arrival sample.Instant) bool {
	l := &c.late
	if l.rows == 0 {
		*l = lateness{least: by, beaten: by, since: arrival, row: row}
	}
	l.rows++
	l.least = min(l.least, by)
	if l.least < l.beaten-lateBeaten {
		l.beaten, l.since, l.row = l.least, arrival, row
	}
	return l.rows >= agreeing && min(arrival.Sub(l.since), row.Sub(l.row)) >= max(lateFor, agreePeriods*c.period)
}

// step moves arrivals with the host's clock. Event times stay, for the rows'
// clock has not moved.
func (c *rowClock) step(by time.Duration) {
	if c.begun {
		c.ahead -= by
		c.arrival = c.arrival.Add(by)
	}
	c.trial.rows, c.late.rows = 0, 0
}

// offset is the host's clock minus the rows'.
func (c *rowClock) offset() time.Duration { return c.shift - c.ahead }
