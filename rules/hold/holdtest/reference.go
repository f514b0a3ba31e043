// Package holdtest is for tests: a slow reference of what a hold does, and traces
// to hold others to it.
package holdtest

import (
	"math"
	"time"

	"weald/rules/hold"
)

// The reference steps in milliseconds and follows the table of package
// hold word by word. It shares no code with it.

// A Reading is one value.
type Reading struct {
	At    int // ms
	Value float64
}

// Settings are those of a rule with one limit.
type Settings struct {
	Kind                    string // above, below
	Limit, Deadband         float64
	On, Off, Resets, Forget int // ms
	Stale                   int // ms
	GateFrom, GateTo, End   int // the gate is closed in [GateFrom, GateTo); the run ends at End
}

// A Happening is that the hold was raised or cleared.
type Happening struct {
	What string
	At   int // ms
}

// Reference returns what happens up to and including the end.
func Reference(readings []Reading, s Settings) (out []Happening) {
	inside := false // the enter/stay memory
	raised := false
	held, released, off, silent := 0, 0, 0, 0
	next := 0
	lastAt, value := math.MinInt, math.NaN()
	beyond := func(v float64) bool {
		if s.Kind == "below" {
			return v < s.Limit || inside && v < s.Limit+s.Deadband
		}
		return v > s.Limit || inside && v > s.Limit-s.Deadband
	}
	for now := 0; ; now++ {
		for next < len(readings) && readings[next].At == now {
			lastAt, value = now, readings[next].Value
			if !math.IsNaN(value) {
				inside = beyond(value)
			}
			next++
		}
		known := !math.IsNaN(value) && now < lastAt+s.Stale
		open := now < s.GateFrom || now >= s.GateTo
		// Delays of zero, and delays that the last millisecond reached.
		if open && known && inside && !raised && held >= s.On {
			raised, off = true, 0
			out = append(out, Happening{"raised", now})
		}
		if open && known && !inside && raised && off >= s.Off {
			raised, held, released = false, 0, 0
			out = append(out, Happening{"cleared", now})
		}
		if now == s.End {
			return out
		}
		if !open {
			continue
		}
		switch {
		case !known:
			if silent++; !raised && silent >= s.Forget {
				held, released = 0, 0
			}
		case inside:
			silent, released, off = 0, 0, 0
			held++
		default:
			silent = 0
			if raised {
				off++
			} else if held > 0 {
				if released++; released >= s.Resets {
					held, released = 0, 0
				}
			}
		}
		// A delay reached exactly at the end of an interval has been reached,
		// whatever the reading there says.
		if known && inside && !raised && held >= s.On {
			raised, off = true, 0
			out = append(out, Happening{"raised", now + 1})
		}
		if known && !inside && raised && off >= s.Off {
			raised, held, released = false, 0, 0
			out = append(out, Happening{"cleared", now + 1})
		}
	}
}

func ms(n int) time.Duration { return time.Duration(n) * time.Millisecond }

// Spec returns the durations.
func (s Settings) Spec() hold.Spec {
	return hold.Spec{OnDelay: ms(s.On), OffDelay: ms(s.Off), ResetsAfter: ms(s.Resets), ForgetAfter: ms(s.Forget)}
}
