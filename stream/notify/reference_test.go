package notify

import (
	"fmt"
	"slices"
	"time"

	"weald/rules/alert"
)

// reference says which messages are due, each with its minute, as a person with a
// list and a clock would find out: for each alert the spans in which it calls; for
// each span and sender the first minute in which somebody is there; and at the end
// of what called, who had been called. Keys name the happening by its position in
// the history, from 1.
func reference(history []happening, specs []Spec, minutes int) []string {
	type span struct {
		from, to int // minutes
		at       int // position
		ends     int // position of what ended it with nobody being called any more; 0 for a further call
		event    alert.Event
		end      alert.Event
	}
	spans := map[string][]span{}
	var ids []string
	open := map[string]bool{}
	for i, h := range history {
		if h.event.Quiet {
			continue
		}
		id := h.event.ID()
		list := spans[id]
		calls := h.event.State == "unacknowledged" || h.event.State == "latched"
		if open[id] {
			last := &list[len(list)-1]
			again := calls && (h.event.Tier != last.event.Tier || h.event.What == alert.Raised)
			if calls && !again {
				continue
			}
			last.to = h.minute
			if !calls {
				last.ends, last.end, open[id] = i+1, h.event, false
				continue
			}
		}
		if calls {
			if len(list) == 0 {
				ids = append(ids, id)
			}
			spans[id] = append(list, span{from: h.minute, to: minutes, at: i + 1, event: h.event})
			open[id] = true
		}
	}
	var due []string
	for _, spec := range specs {
		for _, id := range ids {
			called := false
			for _, s := range spans[id] {
				for m := s.from; m < max(s.to, s.from+1); m++ {
					if there(&spec, &s.event, m) {
						due = append(due, fmt.Sprintf("%d %s.%d.call.%s", m, id, s.at, spec.ID))
						called = true
						break
					}
				}
				if s.ends != 0 && called {
					if spec.FollowUps {
						about := map[alert.State]string{"acknowledged": "acknowledged", "shelved": "put-aside", "suppressed": "put-aside", "out-of-service": "put-aside"}[s.end.State]
						if about == "" {
							about = "over"
						}
						due = append(due, fmt.Sprintf("%d %s.%d.%s.%s", s.to, id, s.ends, about, spec.ID))
					}
					called = false
				}
			}
		}
	}
	slices.Sort(due)
	return due
}

// there says whether somebody is there for an alert in a minute, by looking through
// all minutes of windows that began today or yesterday.
func there(spec *Spec, e *alert.Event, m int) bool {
	if spec.Priorities != nil && !slices.Contains(spec.Priorities, e.Priority) || spec.Places != nil && !slices.Contains(spec.Places, e.Place) {
		return false
	}
	for _, w := range spec.Windows {
		if w.Tiers != nil && !slices.Contains(w.Tiers, e.Tier) {
			continue
		}
		length := int((w.To - w.From) / time.Minute)
		if length <= 0 {
			length += 24 * 60
		}
		for day := m/(24*60) - 1; day <= m/(24*60); day++ {
			begins := day*24*60 + int(w.From/time.Minute)
			weekday := time.Weekday((day + 7) % 7) // minute 0 is on a Sunday
			if (w.Days == nil || slices.Contains(w.Days, weekday)) && begins <= m && m < begins+length {
				return true
			}
		}
	}
	return len(spec.Windows) == 0
}
