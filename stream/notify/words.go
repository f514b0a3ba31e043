package notify

import (
	"fmt"
	"strings"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
)

// Caution stands in every message.
const Caution = "Weald is not a medical alarm system: a message that was sent is not one that was seen. Local policy and the responsible clinician decide."

// late is how long after its cause a message is said to be late.
const late = 2 * time.Minute

// Delay returns how long after what it is about a message leaves.
func (s *Sending) Delay() time.Duration {
	at := s.Queued
	if s.Event != nil && s.About != Call {
		at = s.Event.At
	}
	return max(0, s.At.Sub(at))
}

// Late reports whether a message says that it is late.
func (s *Sending) Late() bool { return s.Delay() >= late }

// Raised returns when the alert that a message is about was raised; 0 for a test.
func (s *Sending) Raised() sample.Instant {
	switch e := s.Event; {
	case e == nil:
		return 0
	case e.What == alert.Raised:
		return e.At
	default:
		return e.At.Add(-e.Held)
	}
}

// State returns the state of the alert as the message leaves; "" for a test.
func (s *Sending) State() alert.State {
	if s.Event == nil {
		return ""
	}
	return stateOf(&s.Now)
}

// Where names the place of the alert for people.
func (s *Sending) Where() string {
	if s.Event.Place == "" {
		return "weald itself"
	}
	return s.Event.Place
}

// Subject returns a line that says what a message is.
func (s *Sending) Subject() string {
	if s.About == Test {
		return "weald: test of sender " + s.Sender
	}
	what := s.Event.Priority.String()
	switch s.About {
	case Call:
		if !calls(&s.Now) {
			what = "late, " + what
		}
	case Had:
		what = "acknowledged"
	case Over:
		what = "over"
	case Aside:
		what = "put aside"
	}
	return fmt.Sprintf("weald: %s: %s, %s", what, s.Where(), s.Event.Rule)
}

// Text returns what a message says, in sentences, without Caution.
func (s *Sending) Text() string {
	if s.About == Test {
		return "This is a test of sender " + s.Sender + ". Nothing is the matter; alerts would reach you this way."
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %s.", s.Where(), strings.TrimSuffix(s.Event.Text, "."))
	e := s.Event
	switch s.About {
	case Call:
		fmt.Fprintf(&b, " Priority %s, raised %s.", e.Priority, s.clock(s.Raised()))
		if e.Tier > 1 {
			fmt.Fprintf(&b, " Nobody of tier %d has acknowledged it.", e.Tier-1)
		}
		if !calls(&s.Now) {
			fmt.Fprintf(&b, " Meanwhile: %s.", s.became(&s.Now))
		}
	default:
		fmt.Fprintf(&b, " Now: %s.", s.became(e))
	}
	if s.Late() {
		fmt.Fprintf(&b, " This message is late by %v.", s.Delay().Round(time.Second))
	}
	return b.String()
}

// became says what an alert that calls nobody has become.
func (s *Sending) became(e *alert.Event) string {
	by, since := "", " since "+s.clock(e.At)
	if e.Who != "" {
		by = " by " + e.Who
	}
	switch stateOf(e) {
	case alert.Acknowledged:
		return "acknowledged" + by + since
	case alert.Shelved:
		return "shelved" + by + " until " + s.clock(e.Until)
	case alert.OutOfService:
		return "out of service" + by + since
	case alert.Suppressed:
		return "nobody is there to be judged" + since
	case alert.Returned:
		return "over" + since + ", and nobody has acknowledged it"
	}
	return "over" + since
}

func (s *Sending) clock(at sample.Instant) string {
	return at.Time().In(s.Zone).Format("2006-01-02 15:04:05 -0700")
}
