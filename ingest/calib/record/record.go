package record

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"weald/ingest/calib/curve"
	"weald/ingest/calib/figures"
)

// Version is the version of the encoding of a Record.
const Version = 1

// An Instrument is the gauge that the pressures were read from.
type Instrument struct {
	Name string  `json:"name"`
	U    float64 `json:"u_mmhg"` // standard uncertainty; limits of +/-a are a/sqrt(3)
}

// A Candidate is a model that was tried.
type Candidate struct {
	Model    curve.Model `json:"model"`
	Branches bool        `json:"branches"`
	Error    *float64    `json:"leave_one_out_mmhg"` // root mean square at levels that the fit did not see; nil where it could not be fitted
	Residual *float64    `json:"residual_sd_mmhg"`
	Chosen   bool        `json:"chosen,omitempty"`
	Note     string      `json:"note,omitempty"` // why it could not be fitted, or why it was not chosen
}

// A Verdict is what the acceptance limits say.
type Verdict string

// The verdicts. A rejected record must not be used live.
const (
	Accepted Verdict = "accepted"
	Warned   Verdict = "accepted with warnings"
	Rejected Verdict = "rejected"
)

// A Record is one calibration of one channel.
type Record struct {
	Version int    `json:"version"`
	Bridge  string `json:"bridge"`
	Source  string `json:"source"`
	Channel int    `json:"channel"`

	At          time.Time  `json:"at"`
	By          string     `json:"by"` // a code, never a name
	Reference   Instrument `json:"reference"`
	Temperature *float64   `json:"temperature_c"` // nil: not known
	Method      string     `json:"method"`        // how the pressures were applied and for how long

	Rows        []figures.Row     `json:"rows"`
	Candidates  []Candidate       `json:"candidates"`
	Calibration curve.Calibration `json:"calibration"`
	Figures     figures.Figures   `json:"figures"`

	Verdict    Verdict   `json:"verdict"`
	Remarks    []string  `json:"remarks"` // what the verdict rests on, in sentences
	ValidUntil time.Time `json:"valid_until"`
}

// ID returns the identity of r: 32 hexadecimal digits of the hash of its
// encoding.
func (r *Record) ID() string {
	b, err := json.Marshal(r)
	if err != nil {
		panic("record: " + err.Error()) // NaN in a record is a bug of whoever made it: Check finds it
	}
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:16])
}

// Age returns how old r is, for the drift part of the uncertainty.
func (r *Record) Age(now time.Time) time.Duration { return now.Sub(r.At) }

// Expired reports whether r is past its date. Its values are still the best
// there are; that they are past their date must be said with them.
func (r *Record) Expired(now time.Time) bool { return now.After(r.ValidUntil) }

// Check says why r cannot be kept.
func (r *Record) Check() error {
	switch {
	case r.Version != Version:
		return fmt.Errorf("calibration record is of version %d, this program knows %d", r.Version, Version)
	case r.Channel < 0:
		return fmt.Errorf("calibration record is of channel %d", r.Channel)
	case r.Verdict != Accepted && r.Verdict != Warned && r.Verdict != Rejected:
		return fmt.Errorf("calibration record has verdict %q", r.Verdict)
	case len(r.Rows) == 0:
		return errors.New("calibration record has no readings")
	case !r.ValidUntil.After(r.At):
		return errors.New("calibration record is valid until before it was made")
	}
	if _, err := json.Marshal(r); err != nil {
		return fmt.Errorf("calibration record: %w", err)
	}
	return r.Calibration.Check()
}
