package record

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"time"

	calibration "weald/ingest/calib/record"
	"weald/ingest/sample"
	"weald/rules/alert"
)

// entryVersion is the version in which entries are written.
//
// Version 1, after form and version: one JSON object, so that a person with any
// reader of the file can tell what happened. Instants are nanoseconds since
// 1970 in UTC, durations nanoseconds, null a number that nobody knows. It
// differs from the Go types where they may change and it may not. Keys may be
// added: one that is missing, as in what earlier programs wrote, is empty.
const entryVersion = 1

// number writes NaN as null, which JSON has no other word for, and the
// infinities as text.
type number float64

func (n number) MarshalJSON() ([]byte, error) {
	switch v := float64(n); {
	case v != v:
		return []byte("null"), nil
	case math.IsInf(v, 0):
		return strconv.AppendQuote(nil, strconv.FormatFloat(v, 'g', -1, 64)), nil
	default:
		return strconv.AppendFloat(nil, v, 'g', -1, 64), nil
	}
}

func (n *number) UnmarshalJSON(b []byte) error {
	if string(b) == "null" {
		*n = number(math.NaN())
		return nil
	}
	v, err := strconv.ParseFloat(string(bytes.Trim(b, `"`)), 64)
	*n = number(v)
	return err
}

type entryJSON struct {
	Position Position        `json:"position"`
	Ord      uint64          `json:"ord,omitempty"`
	At       sample.Instant  `json:"at"`
	Written  sample.Instant  `json:"written"`
	Place    string          `json:"place,omitempty"`
	Author   string          `json:"author,omitempty"`
	Kind     Kind            `json:"kind"`
	Body     json.RawMessage `json:"body"`
}

type transitionJSON struct {
	At       sample.Instant `json:"at"`
	Place    string         `json:"place"`
	Rule     string         `json:"rule"`
	Subject  string         `json:"subject"`
	What     alert.Change   `json:"what"`
	Priority uint8          `json:"priority"`
	Signal   string         `json:"signal"`
	Unit     string         `json:"unit"`
	Value    number         `json:"value"`
	U        number         `json:"u"`
	Limit    number         `json:"limit"`
	Held     time.Duration  `json:"held"`
	Text     string         `json:"text"`

	State      alert.State    `json:"state,omitempty"`
	Tier       int            `json:"tier,omitempty"`
	Chattering bool           `json:"chattering,omitempty"`
	Stands     bool           `json:"stands,omitempty"`
	Quiet      bool           `json:"quiet,omitempty"`
	Who        string         `json:"who,omitempty"`
	Why        string         `json:"why,omitempty"`
	Until      sample.Instant `json:"until,omitempty"`
}

// transitionOf and event are each other's inverse.
func transitionOf(v *alert.Event) transitionJSON {
	return transitionJSON{v.At, v.Place, v.Rule, v.Subject, v.What, uint8(v.Priority),
		v.Signal, v.Unit, number(v.Value), number(v.U), number(v.Limit), v.Held, v.Text,
		v.State, v.Tier, v.Chattering, v.Stands, v.Quiet, v.Who, v.Why, v.Until}
}

func (j *transitionJSON) event() alert.Event {
	return alert.Event{At: j.At, Key: alert.Key{Place: j.Place, Rule: j.Rule, Subject: j.Subject},
		What: j.What, Priority: alert.Priority(j.Priority), Signal: j.Signal, Unit: j.Unit,
		Value: float64(j.Value), U: float64(j.U), Limit: float64(j.Limit), Held: j.Held, Text: j.Text,
		State: j.State, Tier: j.Tier, Chattering: j.Chattering, Stands: j.Stands, Quiet: j.Quiet, Who: j.Who, Why: j.Why, Until: j.Until}
}

type noticeJSON struct {
	Sender  string          `json:"sender,omitempty"`
	What    string          `json:"what"`
	Key     string          `json:"key,omitempty"`
	About   string          `json:"about,omitempty"`
	Change  Position        `json:"change,omitempty"`
	Event   *transitionJSON `json:"event,omitempty"`
	Why     string          `json:"why,omitempty"`
	Through Position        `json:"through,omitempty"`
	From    Position        `json:"from,omitempty"`
}

type actionJSON struct {
	What    string         `json:"what"`
	Subject string         `json:"subject"`
	Reason  string         `json:"reason,omitempty"`
	Until   sample.Instant `json:"until,omitempty"`
	Text    string         `json:"text,omitempty"`
}

type markJSON struct {
	What string `json:"what"`
	Text string `json:"text,omitempty"`
}

type sessionJSON struct {
	ID     string `json:"id"`
	What   string `json:"what"`
	Code   string `json:"code,omitempty"`
	Config uint64 `json:"config,omitempty"`
	Notes  string `json:"notes,omitempty"`
}

type configJSON struct {
	Version uint64 `json:"version"`
	Hash    string `json:"hash"`
	Text    string `json:"text"`
	Undoes  uint64 `json:"undoes,omitempty"`
}

type faultJSON struct {
	Subject string `json:"subject"`
	Over    bool   `json:"over,omitempty"`
	Text    string `json:"text"`

	Priority alert.Priority `json:"priority,omitempty"`
}

type stateJSON struct {
	Packed []byte `json:"packed"` // compressed (zstd)
}

func marshalBody(b Body) ([]byte, error) {
	switch b := b.(type) {
	case Transition:
		return json.Marshal(transitionOf(&b.Event))
	case Action:
		return json.Marshal(actionJSON(b))
	case Mark:
		return json.Marshal(markJSON(b))
	case Session:
		return json.Marshal(sessionJSON(b))
	case Config:
		return json.Marshal(configJSON(b))
	case Fault:
		return json.Marshal(faultJSON(b))
	case Notice:
		j := noticeJSON{Sender: b.Sender, What: b.What, Key: b.Key, About: b.About, Change: b.Change, Why: b.Why, Through: b.Through, From: b.From}
		if b.Event != nil {
			t := transitionOf(b.Event)
			j.Event = &t
		}
		return json.Marshal(j)
	case Calibration:
		return json.Marshal(b.Record) // which has a version of its own
	case Zeroing:
		return json.Marshal(b.Zeroing)
	case Check:
		return json.Marshal(b.Spot)
	case Refused:
		return json.Marshal(b.Refused) // which has a version of its own
	case Attempt:
		return marshalAttempt(&b)
	case Audit:
		return json.Marshal(auditJSON(b))
	case State:
		return json.Marshal(stateJSON{packer.EncodeAll(b.Body, nil)})
	}
	return nil, fmt.Errorf("entry %w: %T is no body", ErrInvalid, b)
}

func unmarshalBody(k Kind, raw []byte) (Body, error) {
	switch k {
	case KindTransition:
		var j transitionJSON
		err := json.Unmarshal(raw, &j)
		return Transition{j.event()}, err
	case KindAction:
		var j actionJSON
		err := json.Unmarshal(raw, &j)
		return Action(j), err
	case KindMark:
		var j markJSON
		err := json.Unmarshal(raw, &j)
		return Mark(j), err
	case KindSession:
		var j sessionJSON
		err := json.Unmarshal(raw, &j)
		return Session(j), err
	case KindConfig:
		var j configJSON
		err := json.Unmarshal(raw, &j)
		return Config(j), err
	case KindFault:
		var j faultJSON
		err := json.Unmarshal(raw, &j)
		return Fault(j), err
	case KindNotice:
		var j noticeJSON
		err := json.Unmarshal(raw, &j)
		n := Notice{Sender: j.Sender, What: j.What, Key: j.Key, About: j.About, Change: j.Change, Why: j.Why, Through: j.Through, From: j.From}
		if j.Event != nil {
			e := j.Event.event()
			n.Event = &e
		}
		return n, err
	case KindCalibration:
		var j calibration.Record
		if err := json.Unmarshal(raw, &j); err != nil {
			return nil, err
		}
		return Calibration{j}, j.Check()
	case KindZeroing:
		var j calibration.Zeroing
		if err := json.Unmarshal(raw, &j); err != nil {
			return nil, err
		}
		return Zeroing{j}, j.Check()
	case KindCheck:
		var j calibration.Spot
		err := json.Unmarshal(raw, &j)
		return Check{j}, err
	case KindRefused:
		var j calibration.Refused
		if err := json.Unmarshal(raw, &j); err != nil {
			return nil, err
		}
		return Refused{j}, j.Check()
	case KindAttempt:
		a, err := unmarshalAttempt(raw)
		return a, err
	case KindAudit:
		a, err := unmarshalAudit(raw)
		return a, err
	case KindState:
		var j stateJSON
		if err := json.Unmarshal(raw, &j); err != nil {
			return nil, err
		}
		body, err := largeUnpacker.DecodeAll(j.Packed, nil)
		return State{body}, err
	}
	return nil, fmt.Errorf("kind %q is not known", k)
}

// Append appends the encoding of e to dst. Its errors are those of Check, and
// one that wraps ErrInvalid for an entry that is longer than MaxEntry.
func (e *Entry) Append(dst []byte) ([]byte, error) {
	if err := e.Check(); err != nil {
		return dst, err
	}
	body, err := marshalBody(e.Body)
	if err != nil {
		return dst, err
	}
	whole, err := json.Marshal(entryJSON{e.Position, e.Ord, e.At, e.Written, e.Place, e.Author, e.Body.Kind(), body})
	if err != nil {
		return dst, fmt.Errorf("%s %w: %w", e.Body.Kind(), ErrInvalid, err)
	}
	if len(whole)+envelope > MaxEntry {
		return dst, fmt.Errorf("%s %w: %d bytes, the most is %d", e.Body.Kind(), ErrInvalid, len(whole), MaxEntry)
	}
	start := len(dst)
	return seal(append(begin(dst, FormEntry, entryVersion), whole...), start), nil
}

// DecodeEntry is the inverse of Append. Its errors wrap ErrDamaged, ErrNewer or
// ErrForm.
func DecodeEntry(b []byte) (Entry, error) {
	_, in, err := content(b, FormEntry, entryVersion)
	if err != nil {
		return Entry{}, fmt.Errorf("entry: %w", err)
	}
	var j entryJSON
	if err := json.Unmarshal(in, &j); err != nil {
		return Entry{}, fmt.Errorf("entry: %w: %w", err, ErrDamaged)
	}
	e := Entry{Position: j.Position, Ord: j.Ord, At: j.At, Written: j.Written, Place: j.Place, Author: j.Author}
	if e.Body, err = unmarshalBody(j.Kind, j.Body); err != nil {
		return Entry{}, fmt.Errorf("entry %d: %w: %w", j.Position, err, ErrDamaged)
	}
	return e, nil
}

// JSON returns an entry as the JSON object that it is kept as. Its errors are those of
// Append.
func (e *Entry) JSON() ([]byte, error) {
	b, err := e.Append(nil)
	if err != nil {
		return nil, err
	}
	return b[2 : len(b)-4 : len(b)-4], nil
}

// Reword changes the words of an entry: f is shown its JSON, and returns it as it is
// to be, which must be JSON of an entry of the same kind. It reports whether that
// changed it.
func (e *Entry) Reword(f func([]byte) []byte) (bool, error) {
	was, err := e.JSON()
	if err != nil {
		return false, err
	}
	now := f(was)
	if bytes.Equal(was, now) {
		return false, nil
	}
	again, err := DecodeEntry(seal(append(begin(nil, FormEntry, entryVersion), now...), 0))
	if err == nil {
		*e = again
	}
	return err == nil, err
}
