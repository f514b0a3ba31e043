package view

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"weald/rules/alert"
)

// NewAlert is the view of an alert of which e is the first that is known. For
// one that has never been raised there are no numbers.
func NewAlert(e *alert.Event) Alert {
	a := Alert{
		ID: e.ID(), Place: e.Place, Rule: e.Rule, Subject: e.Subject,
		Priority: e.Priority.String(), State: string(alert.Unacknowledged), Since: e.At.Time(),
		Unit: e.Unit, Signal: e.Signal, SignalKnown: true, Text: e.Text,
	}
	switch e.What {
	default:
		a.Text = strings.ReplaceAll(e.Subject, "_", " ") + " is not raised"
	case alert.Raised, alert.Cleared, alert.Unknown, alert.Known:
		a.RaisedAt = Moment(e.At)
		a.Value, a.U, a.Limit = Reached(e.Value, e.Limit), Measured(e.U), Number(e.Limit)
	}
	return a
}

// Apply brings a up to date with a later change of the same alert. The numbers
// and the sentence stay those that raised it, for they are why it is there; a
// signal that is lost is said beside them. A quiet change changes nothing.
func (a *Alert) Apply(e *alert.Event) {
	if e.Quiet {
		return
	}
	switch e.What {
	case alert.Raised:
		*a = NewAlert(e)
	case alert.Cleared:
		if a.ClearedAt == nil { // else it was over, and now its rule is gone too
			a.ClearedAt = Moment(e.At)
		}
		a.signal(true)
	case alert.Calmed:
		if !e.Stands {
			a.ClearedAt = Moment(e.At)
			a.signal(true)
		}
	case alert.Unknown:
		a.signal(false)
	case alert.Known:
		a.signal(true)
	case alert.WasAcknowledged:
		a.AcknowledgedAt, a.AcknowledgedBy = Moment(e.At), e.Who
	}
	a.turn(e)
}

// turn takes the state that the change led to.
func (a *Alert) turn(e *alert.Event) {
	state := e.State
	if state == "" { // of a record from before alerts had lives
		state = alert.Unacknowledged
		if e.What == alert.Cleared {
			state = alert.Normal
		}
	}
	if string(state) != a.State {
		a.State, a.Since = string(state), e.At.Time()
	}
	a.Tier, a.Chattering = e.Tier, e.Chattering
	a.By, a.Reason, a.Until = "", "", nil
	if state == alert.Acknowledged || state.Aside() {
		a.By, a.Reason = e.Who, e.Why
	}
	if state == alert.Shelved {
		a.Until = Moment(e.Until)
	}
}

// What has ended is listed for this long. One that nobody has acknowledged lasts for a whole shift,
// so that whoever comes next still finds it; what must not go by unseen at all has a rule that latches.
const (
	keepDone = time.Hour
	keepOver = 12 * time.Hour
)

// Listed reports whether a is still listed at now. What is over is so from when it ended, however
// often it was put aside since, as by somebody who gets up and lies down again; where nobody knows
// any more when it ended, that was long ago.
func (a *Alert) Listed(now time.Time) bool {
	switch s := alert.State(a.State); {
	case s.Open() || s.Aside():
		return true
	case s == alert.Returned:
		return a.ClearedAt != nil && now.Sub(*a.ClearedAt) <= keepOver
	}
	return now.Sub(a.Since) <= keepDone
}

// Standing reports whether it has been raised and not cleared.
func (a *Alert) Standing() bool { return a.RaisedAt != nil && a.ClearedAt == nil }

// calls reports whether a stands, or is to be shown as if it did.
func (a *Alert) calls() bool { return !a.over() && !alert.State(a.State).Aside() }

// over reports whether it ended by itself, and nobody has acknowledged it: somebody still
// has to look, and nobody is called.
func (a *Alert) over() bool { return alert.State(a.State) == alert.Returned }

// lost is said of an alert whose signal is not known.
const lost = "; there is no current reading"

// Lose says that what a raised alert watches is not known; of a cleared one it
// says nothing.
func (a *Alert) Lose() {
	if a.Standing() {
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

// SortAlerts orders alerts for people: those that call somebody before those that
// somebody has, then what is over without anybody, what is put aside, and what is
// done with. What is open is ordered by its urgency and then the newest first,
// all else by time alone.
func SortAlerts(alerts []Alert) {
	slices.SortFunc(alerts, func(a, b Alert) int {
		rank := stateRank(a.State)
		if by := cmp.Compare(rank, stateRank(b.State)); by != 0 {
			return by
		}
		if rank <= openRanks {
			if by := cmp.Compare(priorityRank(b.Priority), priorityRank(a.Priority)); by != 0 {
				return by
			}
		}
		if by := b.moment(rank).Compare(a.moment(rank)); by != 0 {
			return by
		}
		return cmp.Compare(a.ID, b.ID)
	})
}

// openRanks are the ranks of the states in which an alert is open.
const openRanks = 1

func stateRank(state string) int {
	switch alert.State(state) {
	case alert.Unacknowledged, alert.Latched:
		return 0
	case alert.Acknowledged:
		return openRanks
	case alert.Returned:
		return 2
	case alert.Normal:
		return 4
	}
	return 3
}

// moment is the instant by which an alert is ordered among those of its rank.
func (a *Alert) moment(rank int) time.Time {
	switch {
	case rank <= openRanks && a.RaisedAt != nil:
		return *a.RaisedAt
	case rank != 3 && a.ClearedAt != nil:
		return *a.ClearedAt
	}
	return a.Since
}

func priorityRank(priority string) alert.Priority {
	p, _ := alert.ParsePriority(priority)
	return p
}
