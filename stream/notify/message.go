package notify

import (
	"fmt"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/record"
)

// An About says what a message says. The names are written to the record and to
// receivers.
type About string

// What messages say.
const (
	Call  About = "call"         // somebody has to come
	Had   About = "acknowledged" // somebody has what was called for
	Over  About = "over"         // it is over
	Aside About = "put-aside"    // it is put aside, so that nobody has to come
	Test  About = "test"         // nothing is the matter; the way is open
)

// Steps in the life of a message, as the record has them.
const (
	Queued    = "queued"
	Sent      = "sent"
	GivenUp   = "given-up"
	Withdrawn = "withdrawn"
	Seen      = "seen" // of no message: how far changes have been looked at
)

// A Message is what one sender has to deliver.
type Message struct {
	Sender string
	Key    string // the same for every attempt, and for no other message
	About  About
	Change record.Position // of the change of an alert that it is about; 0 for a test
	Event  *alert.Event    // that change; nil for a test
	Queued sample.Instant
	Tries  int // that have failed, since the daemon started

	next   sample.Instant // before which it is not tried again
	flying bool           // it is being tried
	asked  bool           // a person waits for the outcome of the first attempt
	id     string         // of the alert; "" for a test
}

// identify sets the key of a message that has none. Positions are never used again,
// so neither is a key.
func (m *Message) identify() {
	if m.Event != nil {
		m.id = m.Event.ID()
	}
	switch {
	case m.Key != "":
	case m.About == Test:
		m.Key = fmt.Sprintf("test.%s.%d", m.Sender, m.Queued/sample.Instant(time.Second))
	default:
		m.Key = fmt.Sprintf("%s.%d.%s.%s", m.id, m.Change, m.About, m.Sender)
	}
}

// followUp returns what is said of an alert that no longer calls.
func followUp(s alert.State) About {
	switch {
	case s.Aside():
		return Aside
	case s == alert.Acknowledged:
		return Had
	}
	return Over
}

// stateOf returns the state that a change led to; the records of earlier versions
// do not tell it.
func stateOf(e *alert.Event) alert.State {
	switch {
	case e.State != "":
		return e.State
	case e.What == alert.Cleared:
		return alert.Normal
	}
	return alert.Unacknowledged
}

// calls reports whether an alert calls somebody after a change.
func calls(e *alert.Event) bool {
	s := stateOf(e)
	return s == alert.Unacknowledged || s == alert.Latched
}
