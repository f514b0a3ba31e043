package alert

import (
	"strings"
	"time"

	"weald/ingest/sample"
)

// Priority uses the words of IEC 60601-1-8, as style only: no conformity with
// that standard is claimed.
type Priority uint8

// The priorities, least urgent first.
const (
	Low Priority = iota + 1
	Medium
	High
)

// String returns "low", "medium" or "high".
func (p Priority) String() string {
	switch p {
	case Low:
		return "low"
	case Medium:
		return "medium"
	case High:
		return "high"
	}
	return "none"
}

// ParsePriority is the inverse of String.
func ParsePriority(s string) (Priority, bool) {
	for p := Low; p <= High; p++ {
		if p.String() == s {
			return p, true
		}
	}
	return 0, false
}

// Change is what happened to an alert.
type Change string

// The changes that the passing of time and new readings bring about.
const (
	Raised  Change = "raised"  // the condition has lasted for the on-delay
	Cleared Change = "cleared" // its absence has lasted for the off-delay
	Unknown Change = "unknown" // a raised alert lost its signal and stays raised
	Known   Change = "known"   // the signal of a raised alert is back
)

// The changes that a Life adds.
const (
	Ended     Change = "shelf-ended" // what was shelved is no longer, by itself
	Escalated Change = "escalated"   // it is the next tier's
	Calmed    Change = "calm"        // it no longer chatters; Stands says whether it is over

	WasAcknowledged Change = "acknowledged"
	WasShelved      Change = "shelved"
	WasUnshelved    Change = "unshelved"
	WentOut         Change = "out-of-service"
	CameBack        Change = "in-service"
	WasSuppressed   Change = "suppressed"
	WasUnsuppressed Change = "unsuppressed"
)

// A Key names one alert: there is one for each place, rule and subject (the
// site or region that is judged).
type Key struct {
	Place, Rule, Subject string
}

// ID is the alert's name towards people and programs. It is the same after a
// restart and in a rehearsal.
func (k Key) ID() string { return k.Place + "~" + k.Rule + "~" + k.Subject }

// ParseKey is the inverse of ID. Ids of the configuration have no tilde.
func ParseKey(id string) (Key, bool) {
	parts := strings.Split(id, "~")
	if len(parts) != 3 {
		return Key{}, false
	}
	return Key{parts[0], parts[1], parts[2]}, true
}

// An Event is one change of one alert.
type Event struct {
	At sample.Instant // exact event time of the change
	Key
	What     Change
	Priority Priority

	Signal string        // what was watched, such as "ankle.pressure"
	Unit   string        // of Value, U and Limit
	Value  float64       // at that instant; NaN unknown
	U      float64       // standard uncertainty of Value; NaN not known
	Limit  float64       // the bound that Value is compared with
	Held   time.Duration // raised: how long the condition has counted; else: how long the alert has stood
	Text   string        // the sentence that explains it

	State      State // after the change
	Tier       int   // of receivers, from 1; 0 while nobody is called
	Chattering bool
	Stands     bool // people are told that it is raised
	Quiet      bool // it chatters, so that nobody is told of this change: it is for the record

	// Who, by code, has brought it into State, or made the change; why, in that
	// person's words; and until when. Empty, and 0, where nobody has.
	Who, Why string
	Until    sample.Instant
}
