package notify

import (
	"slices"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
)

// A Spec is what a configuration says of one sender.
type Spec struct {
	ID         string
	Priorities []alert.Priority // none for all
	Places     []string         // ids; nil for all
	Windows    []Window         // none for every tier at every hour
	FollowUps  bool             // whoever was called is told how that ended
	TestAt     time.Duration    // of the local day; negative for no daily test
	GiveUp     time.Duration    // how long a message may wait
	Most       int              // how many may wait
}

// A Window is when a sender is there for which tiers.
type Window struct {
	Tiers []int          // none for all
	Days  []time.Weekday // on which it opens; none for all

	// From and To are times of the local day. Where To is not later than From
	// the window closes on the next day.
	From, To time.Duration
}

// open reports whether w is open for a tier, of which 0 is every tier, at a time
// of the local day.
func (w *Window) open(tier int, local time.Time) bool {
	if tier != 0 && len(w.Tiers) > 0 && !slices.Contains(w.Tiers, tier) {
		return false
	}
	opens := func(d time.Weekday) bool { return len(w.Days) == 0 || slices.Contains(w.Days, d) }
	day := local.Weekday()
	hour := time.Duration(local.Hour())*time.Hour + time.Duration(local.Minute())*time.Minute + time.Duration(local.Second())*time.Second
	if w.From < w.To {
		return opens(day) && w.From <= hour && hour < w.To
	}
	before := (day + 6) % 7
	return opens(day) && w.From <= hour || opens(before) && hour < w.To
}

// covers reports whether an alert that calls, as e says, calls this sender at a
// time of the local day.
func (s *Spec) covers(e *alert.Event, local time.Time) bool {
	own := e.Place == ""
	switch {
	case own && e.Rule == "sender" && e.Subject == s.ID: // it could not say so
		return false
	case len(s.Priorities) > 0 && !slices.Contains(s.Priorities, e.Priority):
		return false
	case !own && s.Places != nil && !slices.Contains(s.Places, e.Place):
		return false
	case len(s.Windows) == 0:
		return true
	}
	for i := range s.Windows {
		if s.Windows[i].open(e.Tier, local) {
			return true
		}
	}
	return false
}

// lastTest returns the newest instant, up to now, at which a daily test was due.
func (s *Spec) lastTest(now sample.Instant, zone *time.Location) sample.Instant {
	if s.TestAt < 0 {
		return sample.Past
	}
	local := now.Time().In(zone)
	for back := range 2 {
		y, m, d := local.Date()
		at := time.Date(y, m, d-back, 0, int(s.TestAt/time.Minute), 0, 0, zone)
		if !at.After(local) {
			return sample.At(at)
		}
	}
	return sample.Past
}
