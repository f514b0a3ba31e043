package alert

import (
	"fmt"
	"slices"
)

// Check returns an error if l is in no state that its methods can bring about.
// Its invariants:
//
//   - What people have been told differs from what the hold says only while the
//     alert chatters, and what chatters is told as raised.
//   - A raise is acknowledged or owed, not both.
//   - An alert is on a shelf or out of service, not both; a shelf has an end,
//     at most LongestShelf after its begin.
//   - Somebody is called exactly in the states unacknowledged and latched.
//   - The recent raises ascend, and the newest is not before the one told.
func (l *Life) Check(spec *Spec) error {
	state := l.State(spec)
	recent := l.Recent[:l.Raises]
	switch {
	case l.Chattering && !l.Raised:
		return fmt.Errorf("an alert chatters and is not raised")
	case !l.Chattering && l.Raised != l.Holds:
		return fmt.Errorf("an alert is told as raised: %t, and its hold says %t", l.Raised, l.Holds)
	case l.Owed && l.Acked.in():
		return fmt.Errorf("an alert is acknowledged by %s and owed", l.Acked.Who)
	case l.Raised && !l.Owed && !l.Acked.in():
		return fmt.Errorf("a raised alert is neither owed nor acknowledged")
	case l.Shelf.in() && l.Out.in():
		return fmt.Errorf("an alert is on a shelf and out of service")
	case l.Shelf.in() && (l.Shelf.Until <= l.Shelf.At || l.Shelf.Until.Sub(l.Shelf.At) > LongestShelf):
		return fmt.Errorf("an alert is shelved from %v until %v", l.Shelf.At, l.Shelf.Until)
	case l.Tier < 0 || l.Tier > MostTiers || (l.Tier > 0) != (state == Unacknowledged || state == Latched):
		return fmt.Errorf("an alert is %s and tier %d is called", state, l.Tier)
	case !slices.IsSorted(recent):
		return fmt.Errorf("an alert was raised at %v", recent)
	case l.Raised && (l.Raises == 0 || recent[l.Raises-1] < l.Since):
		return fmt.Errorf("an alert is raised since %v and was raised at %v", l.Since, recent)
	case l.Chattering && l.Raises < ChatterMost:
		return fmt.Errorf("an alert chatters after %d raises", l.Raises)
	}
	return nil
}
