package record

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"
	"unicode/utf8"

	calibration "weald/ingest/calib/record"
	"weald/ingest/sample"
	"weald/rules/alert"
)

// A Position counts the entries of a record, from 1 and without holes. 0 is
// before the first.
type Position uint64

// A Kind is one kind of entry.
type Kind string

// The kinds of entries. The names are written to disk.
const (
	KindTransition Kind = "transition"
	KindAction     Kind = "action"
	KindMark       Kind = "mark"
	KindSession    Kind = "session"
	KindConfig     Kind = "config"
	KindFault      Kind = "fault"

	KindCalibration Kind = "calibration"
	KindZeroing     Kind = "zeroing"
	KindCheck       Kind = "check"
	KindRefused     Kind = "refused"
	KindState       Kind = "state"
	KindNotice      Kind = "notice"
	KindAttempt     Kind = "attempt"
	KindAudit       Kind = "audit"
)

// Kinds lists all kinds of entries.
func Kinds() []Kind {
	return []Kind{KindTransition, KindAction, KindMark, KindSession, KindConfig, KindFault, KindCalibration, KindZeroing, KindCheck, KindRefused, KindState, KindNotice, KindAttempt, KindAudit}
}

// An Entry is one thing that happened and is kept word for word.
type Entry struct {
	// Position is given by the journal when it keeps the entry.
	Position Position
	// Ord is the entry's place among the inputs of the rules engine; 0 if it
	// is none. Human actions and configurations are inputs, transitions are
	// what comes out.
	Ord uint64
	// At is when it happened, in event time; Written is when the daemon wrote
	// it, on the host's clock.
	At, Written sample.Instant
	// Place is empty where it concerns no place, or all.
	Place string
	// Author is who did it; empty for the program itself.
	Author string
	// Body is never nil.
	Body Body
}

// A Body is what an entry says: one of Transition, Action, Mark, Session,
// Config, Fault, Calibration, State, Notice, Attempt and Audit.
type Body interface {
	Kind() Kind
	sealed()
}

// A Transition is one change of one alert.
type Transition struct{ Event alert.Event }

// An Action is what a person did with an alert, a channel or a setting.
type Action struct {
	What    string         // an alert.Verb, …
	Subject string         // the id of the alert or the name of the channel
	Reason  string         // in the person's words
	Until   sample.Instant // 0 where it has no end
	Text    string         // what goes with it, such as a proposed rule with its evidence
}

// A Mark is what a person noted: turned, stood up, wrap applied.
type Mark struct {
	What string
	Text string
}

// A Session is one step in the life of a session.
type Session struct {
	ID     string
	What   string // "begun", "ended", "noted"
	Code   string // stands for a person, and is not a name
	Config uint64 // version of the configuration in force
	Notes  string
}

// A Config is a configuration that came into force.
type Config struct {
	Version uint64
	Hash    string // SHA-256 of Text, in hexadecimal
	Text    string // the whole file

	// Undoes is the version before it where that failed as it came into force, and nothing
	// was judged by it: the one before both goes on, and this one has its text. 0 for none.
	Undoes uint64
}

// NewConfig returns the configuration with its hash.
func NewConfig(version uint64, text string) Config {
	sum := sha256.Sum256([]byte(text))
	return Config{Version: version, Hash: hex.EncodeToString(sum[:]), Text: text}
}

// A Fault is something of the program or its surroundings that went wrong, or
// is over.
type Fault struct {
	Subject string // "bridge trolley", "record", …
	Over    bool
	Text    string

	// Priority is that of the alert which it is; 0 for high.
	Priority alert.Priority
}

// Alert returns the alert of the daemon's own that a fault is, with false where
// it is none that anybody has to be called for. It calls whoever can be called,
// whatever their tier, as nobody can acknowledge it.
func (f *Fault) Alert(at sample.Instant) (alert.Event, bool) {
	e := alert.Event{
		At: at, What: alert.Raised, State: alert.Unacknowledged, Stands: true,
		Priority: alert.High, Value: sample.Unknown, U: sample.Unknown, Limit: sample.Unknown, Text: f.Text,
	}
	if f.Over {
		e.What, e.State, e.Stands = alert.Cleared, alert.Normal, false
	}
	switch sender, ok := strings.CutPrefix(f.Subject, SenderFault); {
	case ok:
		e.Rule, e.Subject = "sender", sender
	case strings.HasPrefix(f.Subject, SelfFault):
		e.Rule, e.Subject = strings.TrimPrefix(f.Subject, SelfFault), "weald"
		e.Priority = cmp.Or(f.Priority, e.Priority)
	case f.Subject == RecordFault:
		e.Rule, e.Subject = "record", "readings"
	default:
		return alert.Event{}, false
	}
	return e, true
}

// Subjects of faults that are alerts of the daemon's own.
const (
	RecordFault = "record"  // readings are not kept
	SenderFault = "sender " // with the sender's id: what it has to send does not arrive
	SelfFault   = "self "   // with the id of what is wrong with the daemon: see package stream/selfwatch
)

// A Calibration is a calibration record that came into force for its channel. It
// is an input: scans that come after it are converted by it.
type Calibration struct{ Record calibration.Record }

// A Zeroing is one zeroing of channels at rest, or the taking back of one. It is an
// input as a calibration is.
type Zeroing struct{ Zeroing calibration.Zeroing }

// Kind implements Body.
func (Zeroing) Kind() Kind { return KindZeroing }
func (Zeroing) sealed()    {}

// A Check is a spot check of a calibration, which it never changes.
type Check struct{ Spot calibration.Spot }

// Kind implements Body.
func (Check) Kind() Kind { return KindCheck }
func (Check) sealed()    {}

// A Refused is a calibration that did not come into force. It is no input: nothing is
// converted by it.
type Refused struct{ Refused calibration.Refused }

// Kind implements Body.
func (Refused) Kind() Kind { return KindRefused }
func (Refused) sealed()    {}

// A State is how the rules stand at a place, as their engine writes it down. It is
// kept as an input where changes of alerts were kept and the readings that led to
// them could not be: whoever takes the record up goes on from it.
type State struct{ Body []byte }

// Kind implements Body.
func (State) Kind() Kind { return KindState }
func (State) sealed()    {}

// A Notice is one step of a message that a sender has to deliver, or, without a
// sender, how far the alerts have been looked through for such.
type Notice struct {
	Sender string       // its id
	What   string       // "queued", "sent", "given-up", "withdrawn"; "seen" without a sender
	Key    string       // names the message towards whoever receives it
	About  string       // queued: what the message says: "call", "over", …
	Change Position     // queued: of the change that it is about; 0 for a test
	Event  *alert.Event // queued: that change; nil for a test
	Why    string       // given-up, withdrawn: the reason

	// Every change up to Through has been looked at, and whoever starts again
	// needs no entry before From.
	Through, From Position
}

// Kind implements Body.
func (Notice) Kind() Kind { return KindNotice }
func (Notice) sealed()    {}

// Kind implements Body.
func (Calibration) Kind() Kind { return KindCalibration }
func (Calibration) sealed()    {}

// Kind implements Body.
func (Transition) Kind() Kind { return KindTransition }

// Kind implements Body.
func (Action) Kind() Kind { return KindAction }

// Kind implements Body.
func (Mark) Kind() Kind { return KindMark }

// Kind implements Body.
func (Session) Kind() Kind { return KindSession }

// Kind implements Body.
func (Config) Kind() Kind { return KindConfig }

// Kind implements Body.
func (Fault) Kind() Kind { return KindFault }

func (Transition) sealed() {}
func (Action) sealed()     {}
func (Mark) sealed()       {}
func (Session) sealed()    {}
func (Config) sealed()     {}
func (Fault) sealed()      {}

// MaxEntry is the most bytes that an encoded entry may have.
const MaxEntry = 16 << 20

// Check returns an error that wraps ErrInvalid if e cannot be encoded. Text
// has to be UTF-8: what is written could otherwise not be read back as it was.
func (e *Entry) Check() error {
	if e.Body == nil {
		return fmt.Errorf("entry %w: it says nothing", ErrInvalid)
	}
	var err error
	switch b := e.Body.(type) {
	case Calibration:
		err = b.Record.Check()
	case Zeroing:
		err = b.Zeroing.Check()
	case Refused:
		err = b.Refused.Check()
	case Audit:
		err = b.check(e)
	}
	if err != nil {
		return fmt.Errorf("%s %w: %w", e.Body.Kind(), ErrInvalid, err)
	}
	for _, s := range e.texts() {
		if !utf8.ValidString(s) {
			return fmt.Errorf("%s %w: %q is not UTF-8", e.Body.Kind(), ErrInvalid, s)
		}
	}
	return nil
}

func (e *Entry) texts() []string {
	own := []string{e.Place, e.Author}
	switch b := e.Body.(type) {
	case Transition:
		return append(own, eventTexts(&b.Event)...)
	case Action:
		return append(own, b.What, b.Subject, b.Reason, b.Text)
	case Mark:
		return append(own, b.What, b.Text)
	case Session:
		return append(own, b.ID, b.What, b.Code, b.Notes)
	case Config:
		return append(own, b.Hash, b.Text)
	case Fault:
		return append(own, b.Subject, b.Text)
	case Notice:
		own = append(own, b.Sender, b.What, b.Key, b.About, b.Why)
		if b.Event != nil {
			own = append(own, eventTexts(b.Event)...)
		}
	case Attempt:
		return append(own, b.texts()...)
	case Audit:
		return append(own, b.texts()...)
	case Zeroing:
		return append(own, b.Zeroing.Bridge, b.Zeroing.Source, b.Zeroing.By)
	case Check:
		return append(own, b.Spot.Record, b.Spot.By, b.Spot.Text)
	case Calibration:
		return append(own, calibrationTexts(&b.Record)...)
	case Refused:
		v := &b.Refused
		own = append(append(own, v.Bridge, v.Source, v.By, v.Reference.Name, v.Method), v.Reasons...)
		if v.Rejected != nil {
			own = append(own, calibrationTexts(v.Rejected)...)
		}
	}
	return own
}

func calibrationTexts(v *calibration.Record) []string {
	return append([]string{v.Bridge, v.Source, v.By, v.Reference.Name, v.Method}, v.Remarks...)
}

func eventTexts(v *alert.Event) []string {
	return []string{v.Place, v.Rule, v.Subject, string(v.What), v.Signal, v.Unit, v.Text, string(v.State), v.Who, v.Why}
}
