package alert

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"weald/ingest/sample"
)

// A Verb is what a person can do with an alert. The names are written to disk.
type Verb string

// The verbs.
const (
	Acknowledge Verb = "acknowledge"
	Shelve      Verb = "shelve"
	Unshelve    Verb = "unshelve"
	TakeOut     Verb = "out-of-service"
	TakeBack    Verb = "in-service"
)

// Verbs lists all verbs.
func Verbs() []Verb { return []Verb{Acknowledge, Shelve, Unshelve, TakeOut, TakeBack} }

// An Action is one thing that a person does with one alert.
type Action struct {
	Verb  Verb
	At    sample.Instant // when, in the place's event time
	Who   string         // the person's code
	Why   string         // in the person's words; Shelve and TakeOut need it
	Until sample.Instant // Shelve: when it ends by itself; else 0
}

// ErrRefused is wrapped by the reasons for which an action is not taken.
var ErrRefused = errors.New("refused")

func refuse(format string, args ...any) error {
	return fmt.Errorf("%s: %w", fmt.Sprintf(format, args...), ErrRefused)
}

// Check returns an error that wraps ErrRefused if a can be no action on any
// alert.
func (a *Action) Check() error {
	reason := strings.TrimSpace(a.Why) != ""
	switch {
	case a.Who == "":
		return refuse("nobody says who does it")
	case a.Verb == Acknowledge, a.Verb == Unshelve, a.Verb == TakeBack:
		return nil
	case a.Verb == TakeOut && !reason, a.Verb == Shelve && !reason:
		return refuse("a reason is needed")
	case a.Verb == TakeOut:
		return nil
	case a.Verb != Shelve:
		return refuse("%q is nothing that can be done with an alert", a.Verb)
	case a.Until <= a.At:
		return refuse("a shelf ends after it begins")
	case a.Until.Sub(a.At) > LongestShelf:
		return refuse("an alert can be shelved for %d hours at most", int(LongestShelf/time.Hour))
	}
	return nil
}

// Permits returns an error that wraps ErrRefused if a makes no sense in the
// state that the alert is in.
func (l *Life) Permits(spec *Spec, a *Action) error {
	if err := a.Check(); err != nil {
		return err
	}
	state := l.State(spec)
	switch a.Verb {
	case Acknowledge:
		switch state {
		case Unacknowledged, Returned, Latched:
			return nil
		case Acknowledged:
			return refuse("it is acknowledged already, by %s", l.Acked.Who)
		case Normal:
			return refuse("it is not raised")
		}
		return refuse("it is %s, so that there is nothing to acknowledge", words(state))
	case Shelve:
		if state == OutOfService {
			return refuse("it is out of service")
		}
	case Unshelve:
		if !l.Shelf.in() {
			return refuse("it is not shelved")
		}
	case TakeOut:
		if l.Out.in() {
			return refuse("it is out of service already")
		}
	case TakeBack:
		if !l.Out.in() {
			return refuse("it is not out of service")
		}
	}
	return nil
}

func words(s State) string { return strings.ReplaceAll(string(s), "-", " ") }
