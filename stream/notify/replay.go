package notify

import (
	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/record"
)

// A Replay brings a desk to where a record ends. It is fed every entry from
// Notice.From of the newest notice on; Through is that notice's.
type Replay struct {
	desk    *Desk
	through record.Position
	late    []change
	lost    []record.Notice // queued for senders that there are no more
}

type change struct {
	at    record.Position
	event alert.Event
}

// NewReplay begins to feed a desk that knows of nothing.
func NewReplay(d *Desk, through record.Position) *Replay {
	d.through = through
	return &Replay{desk: d, through: through}
}

// Entry takes the next entry of the record.
func (r *Replay) Entry(e *record.Entry) {
	switch b := e.Body.(type) {
	case record.Notice:
		r.notice(e.Position, e.Written, &b)
	case record.Fault:
		if i := r.desk.sender(b.Subject); i >= 0 {
			r.desk.boxes[i].broken = !b.Over
		}
	}
	if ev, ok := ChangeOf(e); ok {
		if e.Position <= r.through {
			r.desk.apply(e.Position, &ev)
		} else {
			r.late = append(r.late, change{e.Position, ev})
		}
	}
}

// ChangeOf returns the change of an alert that an entry tells, with false for every
// other entry.
func ChangeOf(e *record.Entry) (alert.Event, bool) {
	switch b := e.Body.(type) {
	case record.Transition:
		return b.Event, true
	case record.Fault:
		return b.Alert(e.At)
	}
	return alert.Event{}, false
}

// sender returns which sender a fault is of; -1 for none.
func (d *Desk) sender(subject string) int {
	for i := range d.specs {
		if subject == record.SenderFault+d.specs[i].ID {
			return i
		}
	}
	return -1
}

func (r *Replay) notice(p record.Position, at sample.Instant, n *record.Notice) {
	d := r.desk
	i := d.sender(record.SenderFault + n.Sender)
	switch {
	case n.What == Queued && i < 0:
		r.lost = append(r.lost, *n)
	case n.What == Queued:
		m := &Message{Sender: n.Sender, Key: n.Key, About: About(n.About), Change: n.Change, Event: n.Event, Queued: at}
		m.identify()
		if m.About == Test {
			d.tests[i], d.tested[i] = at, p
		} else if s := d.find(m.id); s != nil {
			if s.open[i] = m.About == Call; s.open[i] {
				s.told[i] = n.Change
			}
		}
		d.boxes[i].waiting = append(d.boxes[i].waiting, m)
		d.called(i, m, Queued, at)
	case n.Sender != "":
		for k := range r.lost {
			if r.lost[k].Key == n.Key {
				r.lost = append(r.lost[:k], r.lost[k+1:]...)
				break
			}
		}
		if i < 0 {
			return
		}
		if m := d.boxes[i].find(n.Key); m != nil {
			b := &d.boxes[i]
			if m.About == Test && n.What == Sent {
				b.LastTest = at
			}
			if n.What == Sent {
				b.LastSent = at
			}
			d.end(i, m, n.What, "", at)
		}
	}
}

// End looks at the changes that nobody has looked at, and returns what has to be
// kept before anything is sent.
func (r *Replay) End(now sample.Instant) []record.Notice {
	d := r.desk
	d.out = nil
	for i := range d.boxes {
		last := [2]sample.Instant{d.boxes[i].LastSent, d.boxes[i].LastTest}
		d.boxes[i].Totals = Totals{LastSent: last[0], LastTest: last[1]}
	}
	for _, n := range r.lost {
		d.step(record.Notice{Sender: n.Sender, What: GivenUp, Key: n.Key, Why: "the configuration has no such sender any more"})
	}
	out := d.flush()
	for _, c := range r.late {
		out = append(out, d.Change(c.at, &c.event, now)...)
	}
	d.prune()
	return out
}
