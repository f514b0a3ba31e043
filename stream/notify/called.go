package notify

import (
	"cmp"
	"slices"

	"weald/ingest/sample"
	"weald/stream/record"
)

// A Called is what has become of the call that an alert makes now on the way of one
// sender.
type Called struct {
	Alert  string // its id
	Tier   int
	Queued sample.Instant
	What   string         // Queued while it is tried, else Sent, GivenUp or Withdrawn
	Since  sample.Instant // of What

	call record.Position // of the change since which it calls
}

// called notes what becomes of a message, if it is a call.
func (d *Desk) called(i int, m *Message, what string, at sample.Instant) {
	s := d.find(m.id)
	if s == nil || m.About != Call || m.Change < s.called[i].call {
		return
	}
	s.called[i] = Called{Alert: m.id, Tier: m.Event.Tier, Queued: m.Queued, What: what, Since: at, call: m.Change}
}

// Calls returns what has become of what calls a sender now, the oldest first.
func (d *Desk) Calls(i int) (out []Called) {
	for _, s := range d.alerts {
		if s.call != 0 && s.called[i].call == s.call {
			out = append(out, s.called[i])
		}
	}
	slices.SortFunc(out, func(a, b Called) int { return cmp.Compare(a.call, b.call) })
	return out
}
