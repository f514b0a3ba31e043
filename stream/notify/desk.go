package notify

import (
	"cmp"
	"errors"
	"slices"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/record"
)

// A Desk knows which alerts call, who has been told of them, and which messages
// wait. Its methods return the notices that have to be kept, in order and as one,
// before anything is sent that they speak of. It may be used by one goroutine at a
// time.
type Desk struct {
	specs   []Spec
	zone    *time.Location
	born    sample.Instant // before which a sender that was never tested was due no test
	alerts  []*standing    // in the order in which they came up
	byID    map[string]*standing
	boxes   []box // by sender
	through record.Position
	tests   []sample.Instant // by sender: when the newest test was queued
	tested  []record.Position
	out     []record.Notice
}

// A standing is an alert that calls, or of which somebody was told that it does.
type standing struct {
	event  alert.Event     // the newest change that people are told of
	change record.Position // of event
	call   record.Position // of the change since which it calls at its tier; 0 while it calls nobody
	calls  alert.Event     // that change
	first  record.Position // of the first change that a start needs to know of it

	told   []record.Position // by sender: the newest call that was queued for it
	open   []bool            // by sender: it was called, and not told how that ended
	called []Called          // by sender: what became of the newest call
}

// NewDesk returns a desk that knows of no alert. Times of day are those of zone.
func NewDesk(specs []Spec, zone *time.Location, now sample.Instant) *Desk {
	return &Desk{byID: map[string]*standing{}, specs: specs, zone: zone, born: now, boxes: make([]box, len(specs)),
		tests: make([]sample.Instant, len(specs)), tested: make([]record.Position, len(specs))}
}

// Through returns the position up to which changes have been looked at.
func (d *Desk) Through() record.Position { return d.through }

// Change takes the next change of an alert, which is in the record at p.
func (d *Desk) Change(p record.Position, e *alert.Event, now sample.Instant) []record.Notice {
	if s := d.apply(p, e); s != nil {
		d.through = p
		d.owes(s, now)
	}
	d.through = max(d.through, p)
	d.prune()
	return d.flush()
}

// Due takes the passing of time: windows that open, tests, and messages that have
// waited for too long. It is to be called every few seconds.
func (d *Desk) Due(now sample.Instant) []record.Notice {
	for _, s := range d.alerts {
		d.owes(s, now)
	}
	for i := range d.specs {
		if last := d.specs[i].lastTest(now, d.zone); last > cmp.Or(d.tests[i], d.born) {
			d.enqueue(i, &Message{About: Test, Queued: now}, now)
		}
		d.expire(i, now)
	}
	d.prune()
	return d.flush()
}

// testEvery is how often a test is sent because somebody asks for one.
const testEvery = time.Minute

// ErrFull means that too many messages wait for one that is needed so little.
var ErrFull = errors.New("outbox full")

// ErrTooSoon means that the last test is not a minute old.
var ErrTooSoon = errors.New("one test a minute: the last one is not that old")

// AskTest queues a test at once, and returns its key. Whoever asks waits for the
// outcome, so that its first attempt is made even if the sender pauses; for all else
// the pause stays what it was, unless the receiver takes the test, which ends it. Its
// error is ErrFull or ErrTooSoon, and then nothing is queued.
func (d *Desk) AskTest(sender int, now sample.Instant) (string, []record.Notice, error) {
	switch age := now.Sub(d.tests[sender]); {
	case d.full(sender):
		return "", nil, d.fullness(sender)
	case age >= 0 && age < testEvery: // a clock that was set back holds nobody up
		return "", nil, ErrTooSoon
	}
	m := &Message{About: Test, Queued: max(now, d.tests[sender].Add(time.Second)), asked: true}
	d.enqueue(sender, m, now)
	return m.Key, d.flush(), nil
}

// apply notes what a change makes of an alert; nil if people are not told of it.
func (d *Desk) apply(p record.Position, e *alert.Event) *standing {
	s := d.find(e.ID())
	switch {
	case e.Quiet:
		return nil
	case s == nil && !calls(e):
		return nil // nobody was told that it called
	case s == nil:
		n := len(d.specs)
		s = &standing{first: p, told: make([]record.Position, n), open: make([]bool, n), called: make([]Called, n)}
		d.alerts = append(d.alerts, s)
		d.byID[e.ID()] = s
	}
	switch {
	case !calls(e):
		s.call = 0
	case s.call == 0, e.Tier != s.calls.Tier, e.What == alert.Raised:
		s.call, s.calls = p, *e
	}
	s.event, s.change = *e, p
	return s
}

func (d *Desk) find(id string) *standing { return d.byID[id] }

// owes queues what an alert makes due to anybody now.
func (d *Desk) owes(s *standing, now sample.Instant) {
	local := now.Time().In(d.zone)
	for i := range d.specs {
		d.withdraw(i, s, now)
		switch spec := &d.specs[i]; {
		case s.call != 0 && s.told[i] != s.call && spec.covers(&s.calls, local):
			s.told[i], s.open[i] = s.call, true
			e := s.calls
			d.enqueue(i, &Message{About: Call, Change: s.call, Event: &e, Queued: now}, now)
		case s.call == 0 && s.open[i]:
			s.open[i] = false
			if spec.FollowUps {
				e := s.event
				d.enqueue(i, &Message{About: followUp(stateOf(&e)), Change: s.change, Event: &e, Queued: now}, now)
			}
		}
	}
}

// withdraw takes back calls that have not left, if their alert is put aside.
func (d *Desk) withdraw(i int, s *standing, now sample.Instant) {
	if !stateOf(&s.event).Aside() {
		return
	}
	for _, m := range slices.Clone(d.boxes[i].waiting) {
		if m.About == Call && !m.flying && m.id == s.event.ID() {
			d.end(i, m, Withdrawn, "the alert was put aside before it was sent", now)
		}
	}
}

// prune forgets alerts of which nobody has to hear any more.
func (d *Desk) prune() {
	d.alerts = slices.DeleteFunc(d.alerts, func(s *standing) bool {
		if s.call != 0 || slices.Contains(s.open, true) {
			return false
		}
		id := s.event.ID()
		for i := range d.boxes {
			if d.boxes[i].about(id) {
				return false
			}
		}
		delete(d.byID, id)
		return true
	})
}

// step adds a notice to what has to be kept.
func (d *Desk) step(n record.Notice) {
	n.Through = d.through
	d.out = append(d.out, n)
}

// flush returns what has to be kept, each with how far a start has to go back.
func (d *Desk) flush() []record.Notice {
	out := d.out
	d.out = nil
	from := d.from()
	for i := range out {
		out[i].From = from
	}
	return out
}

// from returns the position of the first entry that a start needs.
func (d *Desk) from() record.Position {
	from := d.through + 1
	for _, s := range d.alerts {
		from = min(from, s.first)
	}
	for i := range d.boxes {
		for _, m := range d.boxes[i].waiting {
			if m.Change != 0 {
				from = min(from, m.Change)
			}
		}
		if d.tested[i] != 0 {
			from = min(from, d.tested[i])
		}
	}
	return from
}

// Mark returns a notice of how far changes have been looked at.
func (d *Desk) Mark() []record.Notice {
	d.step(record.Notice{What: Seen})
	return d.flush()
}
