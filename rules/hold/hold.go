package hold

import (
	"fmt"
	"math"
	"time"

	"weald/ingest/sample"
)

// A Spec is the durations of a hold. None is negative.
type Spec struct {
	OnDelay     time.Duration // true for this long: raised
	OffDelay    time.Duration // raised, and false for this long: cleared
	ResetsAfter time.Duration // false for this long: what was held is lost
	ForgetAfter time.Duration // unknown for this long without a break: the same
}

// A Change is what the passing of time did to a hold.
type Change uint8

// The changes. Within one span of a constant condition there is at most one.
const (
	None Change = iota
	Raised
	Cleared
)

// A State is one hold. The zero State is one that has seen nothing.
//
// Invariant: not Raised implies Off == 0; Raised implies Released == 0 and
// Silent == 0; Held == 0 implies Released == 0; none is negative.
type State struct {
	Held     time.Duration // time that the condition was true and that still counts
	Released time.Duration // not raised: how long it has been false since it was last true
	Off      time.Duration // raised: how long it has been false
	Silent   time.Duration // not raised: how long it has been unknown without a break
	Raised   bool
}

// Advance lets span pass while the condition is c all the time. It returns the
// change that this brings, and how far into the span it happens (0 to span).
// A span of zero is how a reading that has just come is told: delays of zero
// are reached then.
func (s *State) Advance(p *Spec, span time.Duration, c sample.Truth) (Change, time.Duration) {
	switch {
	case !s.Raised && c == sample.Yes && span >= p.OnDelay-s.Held:
		at := max(0, p.OnDelay-s.Held)
		*s = State{Held: p.OnDelay, Raised: true}
		return Raised, at
	case s.Raised && c == sample.No && span >= p.OffDelay-s.Off:
		at := max(0, p.OffDelay-s.Off)
		*s = State{}
		return Cleared, at
	case span == 0:
		// A condition that lasts no time undoes nothing.
	case s.Raised:
		s.raised(span, c)
	default:
		s.quiet(p, span, c)
	}
	return None, 0
}

// raised lets span pass for a hold that stays raised. Missing data never clears
// an alert: nothing grows.
func (s *State) raised(span time.Duration, c sample.Truth) {
	switch c {
	case sample.Yes:
		s.Off = 0
	case sample.No:
		s.Off += span
	}
}

// quiet lets span pass for a hold that is not raised and will not be.
func (s *State) quiet(p *Spec, span time.Duration, c sample.Truth) {
	lost := false
	switch c {
	case sample.Yes:
		s.Held += span
		s.Released, s.Silent = 0, 0
	case sample.No:
		s.Silent = 0
		if s.Held > 0 {
			s.Released = grow(s.Released, span)
			lost = s.Released >= p.ResetsAfter
		}
	default:
		s.Silent = grow(s.Silent, span)
		lost = s.Silent >= p.ForgetAfter
	}
	if lost {
		s.Held, s.Released = 0, 0
	}
}

// Next returns how much more time must pass, with the condition staying c, for
// the hold to be raised or cleared; false if that alone will never do it. Just
// after Advance it is positive, so a loop that sleeps for it makes progress.
func (s *State) Next(p *Spec, c sample.Truth) (time.Duration, bool) {
	switch {
	case !s.Raised && c == sample.Yes:
		return p.OnDelay - s.Held, true
	case s.Raised && c == sample.No:
		return p.OffDelay - s.Off, true
	}
	return 0, false
}

// Check returns what is inconsistent in s, for tests.
func (s *State) Check() error {
	switch {
	case s.Held < 0 || s.Released < 0 || s.Off < 0 || s.Silent < 0:
		return fmt.Errorf("hold %+v: negative time", *s)
	case !s.Raised && s.Off != 0:
		return fmt.Errorf("hold %+v: off without being raised", *s)
	case s.Raised && (s.Released != 0 || s.Silent != 0):
		return fmt.Errorf("hold %+v: raised, yet released or silent", *s)
	case s.Held == 0 && s.Released != 0:
		return fmt.Errorf("hold %+v: released, with nothing held", *s)
	}
	return nil
}

// grow adds two durations and stops at the largest one: a signal may stay
// silent for longer than a Duration can say.
func grow(a, b time.Duration) time.Duration {
	if a > math.MaxInt64-b {
		return math.MaxInt64
	}
	return a + b
}
