package view

import (
	"cmp"
	"slices"
	"strings"

	"weald/rules/alert"
)

// NewAlert is the view of an alert that has just been raised.
func NewAlert(e *alert.Event) Alert {
	return Alert{
		ID: e.ID(), Place: e.Place, Rule: e.Rule, Subject: e.Subject,
		Priority: e.Priority.String(), State: Unacknowledged,
		RaisedAt: e.At.Time(),
		Value:    Number(e.Value), U: Number(e.U), Limit: Number(e.Limit),
		Unit: e.Unit, Signal: e.Signal, SignalKnown: true, Text: e.Text,
	}
}

// Apply brings a up to date with a later change of the same alert. The numbers
// and the sentence stay those that raised it, for they are why it is there; a
// signal that is lost is said beside them.
func (a *Alert) Apply(e *alert.Event) {
	switch e.What {
	case alert.Raised:
		*a = NewAlert(e)
	case alert.Cleared:
		a.State, a.ClearedAt = Normal, Moment(e.At)
		a.signal(true)
	case alert.Unknown:
		a.signal(false)
	case alert.Known:
		a.signal(true)
	}
}

// lost is said of an alert whose signal is not known.
const lost = "; there is no current reading"

// Lose says that what a raised alert watches is not known; of a cleared one it
// says nothing.
func (a *Alert) Lose() {
	if a.State == Unacknowledged {
		a.signal(false)
	}
}

func (a *Alert) signal(known bool) {
	a.SignalKnown = known
	a.Text = strings.TrimSuffix(a.Text, lost)
	if !known {
		a.Text += lost
	}
}

// SortAlerts orders alerts for people: the raised before the cleared, the
// urgent before the less urgent, the newest first.
func SortAlerts(alerts []Alert) {
	slices.SortFunc(alerts, func(a, b Alert) int {
		if by := cmp.Compare(stateRank(a.State), stateRank(b.State)); by != 0 {
			return by
		}
		if a.State == Unacknowledged {
			if by := cmp.Compare(priorityRank(b.Priority), priorityRank(a.Priority)); by != 0 {
				return by
			}
			if by := b.RaisedAt.Compare(a.RaisedAt); by != 0 {
				return by
			}
		} else if by := b.ClearedAt.Compare(*a.ClearedAt); by != 0 {
			return by
		}
		return cmp.Compare(a.ID, b.ID)
	})
}

func stateRank(state string) int {
	if state == Unacknowledged {
		return 0
	}
	return 1
}

func priorityRank(priority string) alert.Priority {
	p, _ := alert.ParsePriority(priority)
	return p
}
