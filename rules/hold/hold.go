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
	case s.Raised && c == sample.Yes:
		s.Off = 0
	case s.Raised && c == sample.No:
		left := p.OffDelay - s.Off
		if span >= left {
			*s = State{}
			return Cleared, max(0, left)
		}
		s.Off += span
	case s.Raised:
		// Missing data never clears an alert.
	case c == sample.Yes:
		s.Released, s.Silent = 0, 0
		left := p.OnDelay - s.Held
		if span >= left {
			*s = State{Held: p.OnDelay, Raised: true}
			return Raised, max(0, left)
		}
		s.Held += span
	case c == sample.No:
		s.Silent = 0
		if s.Held > 0 && span > 0 {
			if s.Released += span; s.Released >= p.ResetsAfter {
				s.Held, s.Released = 0, 0
			}
		}
	default:
		if s.Silent = grow(s.Silent, span); s.Silent >= p.ForgetAfter && span > 0 {
			s.Held, s.Released = 0, 0
		}
	}
	return None, 0
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
