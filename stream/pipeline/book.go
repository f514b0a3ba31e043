package pipeline

import (
	"maps"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/view"
)

// mostCleared is how many alerts that have ended are listed at most.
const mostCleared = 1000

// A book lists the alerts that are open or put aside and those that were over of
// late.
// There is one entry for each place, rule and subject, with its latest episode,
// so that it cannot outgrow the plan.
type book struct {
	entries []view.Alert
	byID    map[string]int
	last    map[string]alert.Event // by id: the change that was entered last
}

// apply enters a change and returns the alert as it now is.
func (b *book) apply(e *alert.Event) view.Alert {
	i, ok := b.byID[e.ID()]
	if !ok {
		i = len(b.entries)
		b.byID[e.ID()] = i
		// A change other than a raise of an alert that is not listed makes
		// the best of what the event says.
		b.entries = append(b.entries, view.NewAlert(e))
	}
	b.entries[i].Apply(e)
	b.last[e.ID()] = *e
	return b.entries[i]
}

// of returns the alerts of a place that are open at its present, most pressing first, then
// those that are over and not acknowledged, and then those that are put aside.
func (b *book) of(place string, now sample.Instant) []view.Alert {
	var found []view.Alert
	for _, a := range b.entries {
		if a.Place == place && alert.State(a.State) != alert.Normal && a.Listed(now.Time()) {
			found = append(found, a)
		}
	}
	view.SortAlerts(found)
	return found
}

func open(a *view.Alert) bool { return alert.State(a.State).Open() }

// forget drops what has been over, done with or no longer put aside for too long, and the
// oldest of these while there are too many. now is asked for the present of a place.
func (b *book) forget(now func(place string) sample.Instant) {
	view.SortAlerts(b.entries)
	kept, cleared := b.entries[:0], 0
	for _, a := range b.entries {
		if !open(&a) && !alert.State(a.State).Aside() {
			if cleared++; cleared > mostCleared || !a.Listed(now(a.Place).Time()) {
				continue
			}
		}
		kept = append(kept, a)
	}
	clear(b.entries[len(kept):])
	b.entries = kept
	clear(b.byID)
	for i := range b.entries {
		b.byID[b.entries[i].ID] = i
	}
	maps.DeleteFunc(b.last, func(id string, _ alert.Event) bool { _, there := b.byID[id]; return !there })
}

func (b *book) list() []view.Alert { return append([]view.Alert{}, b.entries...) }
