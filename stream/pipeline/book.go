package pipeline

import (
	"maps"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/view"
)

// Cleared alerts are listed for this long, and no more of them than that.
const (
	keepCleared = time.Hour
	mostCleared = 1000
)

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

// of returns the alerts of a place that are open, most pressing first, and then
// those that are put aside.
func (b *book) of(place string) []view.Alert {
	var found []view.Alert
	for _, a := range b.entries {
		if a.Place == place && (open(&a) || alert.State(a.State).Aside()) {
			found = append(found, a)
		}
	}
	view.SortAlerts(found)
	return found
}

func open(a *view.Alert) bool { return alert.State(a.State).Open() }

// ended is when an alert that is over was cleared, or was no longer put aside.
func ended(a *view.Alert) time.Time {
	if a.ClearedAt != nil {
		return *a.ClearedAt
	}
	return a.Since
}

// forget drops what was cleared too long ago, and the oldest cleared alerts
// while there are too many. now is asked for the present of a place.
func (b *book) forget(now func(place string) sample.Instant) {
	view.SortAlerts(b.entries)
	kept, cleared := b.entries[:0], 0
	for _, a := range b.entries {
		if over := !open(&a) && !alert.State(a.State).Aside(); over {
			if cleared++; cleared > mostCleared || now(a.Place).Sub(sample.At(ended(&a))) > keepCleared {
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
