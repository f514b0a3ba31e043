// Package tuning computes how an alert system behaves: the figures by which
// IEC 62682 judges one. It is pure.
package tuning

import (
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
)

// The bounds of the figures.
const (
	Period       = 10 * time.Minute // periods in which raises are counted
	Busy         = 10               // a period with more raises than this is busy
	ChatterMost  = 3                // more raises of one alert than this within Period is chattering
	StandingLong = 24 * time.Hour   // an alert that stands for longer is standing
)

// Figures are the tuning figures of one span of time.
type Figures struct {
	Raised, Cleared int
	Standing        int     // still raised at the end
	PerPlaceHour    float64 // raises per place and hour; NaN for a span of no length
	BusyShare       float64 // share of Periods with more than Busy raises; NaN likewise
	StandingLong    int     // alerts that stood for longer than StandingLong
	Chattering      []string
}

// Compute counts the events, which are in time order, that happened at places
// from one instant to another. Chattering lists the ids of alerts in the order
// in which they were first seen to chatter.
func Compute(events []alert.Event, places int, from, to sample.Instant) Figures {
	f := Figures{PerPlaceHour: sample.Unknown, BusyShare: sample.Unknown}
	lives := map[string]*life{}
	raises := map[int64]int{} // by number of the period
	busy := 0
	var order []*life
	for i := range events {
		e := &events[i]
		l := lives[e.ID()]
		if l == nil {
			l = &life{}
			lives[e.ID()] = l
			order = append(order, l)
		}
		switch e.What {
		case alert.Raised:
			f.Raised++
			period := int64(e.At.Sub(from) / Period)
			if raises[period]++; raises[period] == Busy+1 {
				busy++
			}
			if l.raise(e.At) {
				f.Chattering = append(f.Chattering, e.ID())
			}
		case alert.Cleared:
			f.Cleared++
			l.clear(e.At)
		}
	}
	for _, l := range order {
		if l.raised {
			f.Standing++
			l.clear(to)
		}
		if l.longest > StandingLong {
			f.StandingLong++
		}
	}
	if span := to.Sub(from); span > 0 && places > 0 {
		f.PerPlaceHour = float64(f.Raised) / float64(places) / span.Hours()
		f.BusyShare = float64(busy) / float64((span+Period-1)/Period)
	}
	return f
}

// A life is one alert through the span.
type life struct {
	raised  bool
	since   sample.Instant
	longest time.Duration
	recent  []sample.Instant // the last ChatterMost raises
	chatter bool
}

// raise notes a raise and reports whether it is the one that makes the alert
// chatter.
func (l *life) raise(at sample.Instant) bool {
	l.raised, l.since = true, at
	first := false
	if len(l.recent) == ChatterMost {
		if at.Sub(l.recent[0]) <= Period && !l.chatter {
			l.chatter, first = true, true
		}
		l.recent = append(l.recent[:0], l.recent[1:]...)
	}
	l.recent = append(l.recent, at)
	return first
}

func (l *life) clear(at sample.Instant) {
	if l.raised {
		l.longest = max(l.longest, at.Sub(l.since))
	}
	l.raised = false
}
