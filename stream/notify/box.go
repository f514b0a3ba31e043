package notify

import (
	"fmt"
	"slices"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/record"
)

// Pauses between attempts, and when a sender is broken.
const (
	firstPause  = time.Second
	mostPause   = 5 * time.Minute
	brokenAfter = time.Minute
)

// pauseAfter returns how long to wait after a number of failures in a row. It doubles
// from a second to five minutes; jitter, from 0 to 1, takes up to a half off, so
// that many senders do not come back at once.
func pauseAfter(failures int, jitter float64) time.Duration {
	p := mostPause
	if failures < 10 {
		p = min(p, firstPause<<max(0, failures-1))
	}
	return p - time.Duration(jitter/2*float64(p))
}

// A box is what waits for one sender, and how that fares.
type box struct {
	waiting []*Message // in the order in which they were queued
	pause   sample.Instant
	failed  int            // attempts in a row
	since   sample.Instant // of the first of them
	why     string         // of the newest

	broken bool // it is said in an alert
	gaveUp bool // since the last delivery
	proved bool // something has arrived since the daemon started
	Totals
}

// Totals count what became of messages since the daemon started.
type Totals struct {
	Sent, GivenUp, Withdrawn, Failed uint64         // Failed counts attempts
	LastSent, LastTest               sample.Instant // delivered; 0 for never
}

func (b *box) about(id string) bool {
	return slices.ContainsFunc(b.waiting, func(m *Message) bool { return m.id == id })
}

func (b *box) find(key string) *Message {
	for _, m := range b.waiting {
		if m.Key == key {
			return m
		}
	}
	return nil
}

// full reports whether a sender may keep no more waiting.
func (d *Desk) full(i int) bool { return len(d.boxes[i].waiting) >= max(1, d.specs[i].Most) }

// fullness is ErrFull with how many messages may wait.
func (d *Desk) fullness(i int) error {
	return fmt.Errorf("%w: more than %d messages wait", ErrFull, max(1, d.specs[i].Most))
}

// enqueue lets m wait for a sender. If there are too many, those that are needed
// least are given up, which may be m itself: it is queued and given up at once, so
// that the record tells of it as of every other.
func (d *Desk) enqueue(i int, m *Message, now sample.Instant) {
	b := &d.boxes[i]
	m.Sender = d.specs[i].ID
	m.identify()
	if m.About == Test {
		d.tests[i] = m.Queued
		d.tested[i] = d.through + 1 // it will be there, or after it
	}
	why := d.fullness(i).Error()
	refused := false
	for d.full(i) && !refused {
		last := b.leastNeeded()
		if last == nil {
			break // it is being tried
		}
		b.gaveUp = true
		if refused = m.need() < last.need(); !refused {
			d.end(i, last, GivenUp, why, now)
		}
	}
	b.waiting = append(b.waiting, m)
	d.called(i, m, Queued, now)
	d.step(record.Notice{Sender: m.Sender, What: Queued, Key: m.Key, About: string(m.About), Change: m.Change, Event: m.Event})
	if refused {
		d.end(i, m, GivenUp, why, now)
	}
}

// need says how much a message is needed: a test less than what is said to somebody,
// and that less than a call, which goes by its priority.
func (m *Message) need() int {
	switch m.About {
	case Test:
		return 0
	case Call:
		return 2 + int(m.Event.Priority)
	}
	return 1
}

// leastNeeded returns the oldest of the messages that are needed least, beside what
// is being tried; nil if there is none.
func (b *box) leastNeeded() *Message {
	var found *Message
	for _, m := range b.waiting {
		if !m.flying && (found == nil || m.need() < found.need()) {
			found = m
		}
	}
	return found
}

// end takes a message out, and says what became of it.
func (d *Desk) end(i int, m *Message, what, why string, now sample.Instant) {
	b := &d.boxes[i]
	b.waiting = slices.DeleteFunc(b.waiting, func(w *Message) bool { return w == m })
	switch what {
	case Sent:
		b.Sent++
	case GivenUp:
		b.GivenUp++
	case Withdrawn:
		b.Withdrawn++
	}
	d.called(i, m, what, now)
	d.step(record.Notice{Sender: m.Sender, What: what, Key: m.Key, Why: why})
}

// expire gives up what has waited for too long.
func (d *Desk) expire(i int, now sample.Instant) {
	for _, m := range slices.Clone(d.boxes[i].waiting) {
		if age := now.Sub(m.Queued); !m.flying && age >= d.specs[i].GiveUp {
			why := fmt.Sprintf("it has waited for %v", d.specs[i].GiveUp)
			if d.boxes[i].why != "" {
				why += ": " + d.boxes[i].why
			}
			d.boxes[i].gaveUp = true
			d.end(i, m, GivenUp, why, now)
		}
	}
}

// A Sending is one attempt.
type Sending struct {
	Message
	Now  alert.Event    // the newest change of its alert; of a test nothing
	At   sample.Instant // of the attempt
	Zone *time.Location // in which times are told
}

// Pick returns what a sender is to try now, or nil and when to ask again at the
// latest. Done has to be called for what it returns.
func (d *Desk) Pick(i int, now sample.Instant) (*Sending, sample.Instant) {
	b := &d.boxes[i]
	var best *Message
	later := sample.Never
	seen := map[string]bool{}
	for _, m := range b.waiting {
		first := m.id == "" || !seen[m.id]
		seen[m.id] = true
		switch {
		case now < b.pause && !m.asked:
			later = min(later, b.pause)
		case m.flying || !first:
		case m.next > now:
			later = min(later, m.next)
		case best == nil || m.before(best):
			best = m
		}
	}
	if best == nil {
		return nil, later
	}
	best.flying = true
	out := &Sending{Message: *best, At: now, Zone: d.zone}
	if best.Event != nil {
		out.Now = *best.Event
		if s := d.find(best.id); s != nil {
			out.Now = s.event
		}
	}
	return out, now
}

// before reports whether m, which was queued after o, goes before it.
func (m *Message) before(o *Message) bool {
	if m.Tries != o.Tries {
		return m.Tries < o.Tries
	}
	urgency := func(m *Message) int {
		if m.Event == nil {
			return 0
		}
		return int(m.Event.Priority)
	}
	return urgency(m) > urgency(o)
}

// A Refusal is an error of a receiver that will never take this message.
type Refusal struct{ Why string }

// Error says why.
func (r *Refusal) Error() string { return r.Why }

// Done takes the outcome of an attempt: nil, a *Refusal, or any other error, after
// which it is tried again. The error's text is kept and shown: it must not hold a
// secret. jitter is as for pauseAfter.
func (d *Desk) Done(i int, key string, err error, now sample.Instant, jitter float64) []record.Notice {
	m := d.boxes[i].find(key)
	if m == nil {
		return nil
	}
	m.flying = false
	refusal, refused := err.(*Refusal)
	switch {
	case err == nil:
		d.Report(i, nil, now, jitter)
		d.boxes[i].LastSent = now
		if m.About == Test {
			d.boxes[i].LastTest = now
		}
		d.end(i, m, Sent, "", now)
	case refused:
		d.boxes[i].why, d.boxes[i].gaveUp = refusal.Why, true
		d.end(i, m, GivenUp, refusal.Why, now)
	case m.asked: // what a person tried makes nobody else wait
		d.boxes[i].Failed++
		m.again(now, jitter)
	default:
		m.again(now, jitter)
		d.Report(i, err, now, jitter)
		if s := d.find(m.id); s != nil && m.About == Call && stateOf(&s.event).Aside() {
			d.end(i, m, Withdrawn, "the alert was put aside before it was sent", now)
		}
	}
	d.prune()
	return d.flush()
}

// again lets m wait for its next attempt, which is one like every other.
func (m *Message) again(now sample.Instant, jitter float64) {
	m.Tries++
	m.next = now.Add(pauseAfter(m.Tries, jitter))
	m.asked = false
}

// Report takes how a sender fares beside its messages, such as that its connection
// was lost, or is there.
func (d *Desk) Report(i int, err error, now sample.Instant, jitter float64) {
	b := &d.boxes[i]
	if err == nil {
		b.failed, b.pause, b.why, b.gaveUp, b.proved = 0, sample.Past, "", false, true
		return
	}
	if b.failed == 0 {
		b.since = now
	}
	b.failed++
	b.Failed++
	b.why = err.Error()
	b.pause = now.Add(pauseAfter(b.failed, jitter))
}

// Health returns a fault when a sender has become broken or is no longer: what it
// has to send has not arrived for a minute, or was given up.
func (d *Desk) Health(i int, now sample.Instant) (record.Fault, bool) {
	b := &d.boxes[i]
	broken := b.gaveUp || b.failed > 1 && now.Sub(b.since) >= brokenAfter || b.broken && b.failed > 0
	if broken == b.broken || b.broken && !b.proved { // what was broken before a start has still to prove itself
		return record.Fault{}, false
	}
	b.broken = broken
	f := record.Fault{Subject: record.SenderFault + d.specs[i].ID, Over: !broken}
	if f.Text = "what sender " + d.specs[i].ID + " has to send arrives again"; broken {
		f.Text = "sender " + d.specs[i].ID + " does not get through"
		if b.why != "" {
			f.Text += ": " + b.why
		}
		f.Text += "; alerts are on the pages, and nobody is called this way"
	}
	return f, true
}
