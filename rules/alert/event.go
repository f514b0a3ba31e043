// Package alert names what an alert is and what can happen to it.
package alert

import (
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

// A Key names one alert: there is one for each place, rule and subject (the
// site or region that is judged).
type Key struct {
	Place, Rule, Subject string
}

// ID is the alert's name towards people and programs. It is the same after a
// restart and in a rehearsal.
func (k Key) ID() string { return k.Place + "~" + k.Rule + "~" + k.Subject }

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
	Held   time.Duration // raised: how long the condition has counted; cleared: how long the alert stood
	Text   string        // the sentence that explains it
}
