// Package tuning computes how an alert system behaves: the figures by which
// IEC 62682 judges one. It is pure.
//
// A rate and a flood are of what people could be told. An alert that chatters is
// told once and measured on, and each of its raises counts: it is to be found by
// them. Told counts the raises that people were told.
//
// An alert that is raised anew before anybody has acknowledged it is one that
// waits since its first raise. It is answered by the acknowledgement; one that
// clears by itself, and one that is put aside, is not. What was raised less than
// Soon before the end, and still waits, is undecided and counts for no share.
// What nobody was called for, because it was put aside, waits for nobody.
package tuning

import (
	"slices"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
)

// The bounds of the figures.
const (
	Period       = 10 * time.Minute  // periods in which raises are counted
	Busy         = 10                // a period with more raises than this is busy
	FloodOver    = 5                 // a flood ends when fewer than this are left in a Period
	ChatterMost  = alert.ChatterMost // more raises of one alert than this within Period is chattering
	StandingLong = 24 * time.Hour    // an alert that stands for longer is standing
	Soon         = 5 * time.Minute   // an acknowledgement within this is soon
	MinuteMany   = 3                 // raises of one alert within a minute that are many by ISA-18.2
)

// Figures are the tuning figures of one span of time. Shares, rates and times are
// NaN where there is nothing that they could be of.
type Figures struct {
	Raised, Cleared int
	Told            int     // of Raised, those that were not quiet
	Standing        int     // still raised at the end
	PerPlaceHour    float64 // raises per place and hour
	BusyShare       float64 // share of Periods with more than Busy raises
	StandingLong    int     // alerts that stood for longer than StandingLong
	Chattering      []string
	InAMinute       []string // with MinuteMany raises or more within one minute

	Floods     int     // begin with more than Busy raises in any Period, end below FloodOver
	FloodShare float64 // share of the time

	Answered  int     // alerts that were acknowledged
	AckSoon   float64 // share of those that waited that were acknowledged within Soon
	AckMedian float64 // seconds to acknowledge
	AckNinety float64 // 90th percentile of them
}

// Compute counts the events, which are in time order, that happened at places
// from one instant to another. Chattering lists the ids of alerts in the order
// in which they were first seen to chatter. Events from before the span are for
// what is known at its beginning: they are not counted.
func Compute(events []alert.Event, places int, from, to sample.Instant) Figures {
	f := Figures{
		PerPlaceHour: sample.Unknown, BusyShare: sample.Unknown, FloodShare: sample.Unknown,
		AckSoon: sample.Unknown, AckMedian: sample.Unknown, AckNinety: sample.Unknown,
	}
	lives := map[string]*life{}
	raises := map[int64]int{} // by number of the period
	busy := 0
	var order []*life
	var times []sample.Instant
	var wait waits
	for i := range events {
		e := &events[i]
		l := lives[e.ID()]
		if l == nil {
			l = &life{id: e.ID()}
			lives[l.id] = l
			order = append(order, l)
		}
		inside := e.At >= from
		wait.take(l, e, inside)
		switch e.What {
		case alert.Raised:
			l.raise(e.At, inside, &f)
			if !inside {
				continue
			}
			f.Raised++
			if !e.Quiet {
				f.Told++
			}
			times = append(times, e.At)
			period := int64(e.At.Sub(from) / Period)
			if raises[period]++; raises[period] == Busy+1 {
				busy++
			}
		case alert.Cleared:
			if inside && !l.over { // else it loses its rule, and nobody had acknowledged it
				f.Cleared++
			}
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
		wait.end(l, to)
	}
	wait.into(&f)
	if span := to.Sub(from); span > 0 && places > 0 {
		f.PerPlaceHour = float64(f.Raised) / float64(places) / span.Hours()
		f.BusyShare = float64(busy) / float64((span+Period-1)/Period)
		var flooded time.Duration
		f.Floods, flooded = floods(times, to)
		f.FloodShare = flooded.Seconds() / span.Seconds()
	}
	return f
}

// A life is one alert through the span.
type life struct {
	id      string
	raised  bool
	over    bool // it has been cleared, and not raised again
	since   sample.Instant
	longest time.Duration
	recent  []sample.Instant // the last ChatterMost raises
	chatter bool
	minute  bool

	waits bool
	owed  sample.Instant // since when it waits
	count bool           // whether that is inside the span
}

// raise notes a raise, and in f if it is the one that makes the alert chatter.
func (l *life) raise(at sample.Instant, inside bool, f *Figures) {
	l.raised, l.over, l.since = true, false, at
	n := len(l.recent)
	if inside && n >= MinuteMany-1 && at.Sub(l.recent[n-MinuteMany+1]) <= time.Minute && !l.minute {
		l.minute = true
		f.InAMinute = append(f.InAMinute, l.id)
	}
	if n == ChatterMost {
		if inside && at.Sub(l.recent[0]) <= Period && !l.chatter {
			l.chatter = true
			f.Chattering = append(f.Chattering, l.id)
		}
		l.recent = slices.Delete(l.recent, 0, 1)
	}
	l.recent = append(l.recent, at)
}

func (l *life) clear(at sample.Instant) {
	if l.raised {
		l.longest = max(l.longest, at.Sub(l.since))
	}
	l.raised, l.over = false, true
}
