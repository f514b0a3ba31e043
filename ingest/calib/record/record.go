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

// Limits are the shares of full scale, in %, above which what repeats badly is
// warned of, and above which it is rejected.
type Limits struct {
	Warn   float64 `json:"warn_percent_fs"`
	Reject float64 `json:"reject_percent_fs"`
}

// Judge returns what the limits say of a figure, in % of full scale.
func (l Limits) Judge(percent float64) Verdict {
	switch {
	case percent > l.Reject:
		return Rejected
	case percent > l.Warn:
		return Warned
	}
	return Accepted
}

// Check says why nothing can be judged by l.
func (l Limits) Check() error {
	if !(l.Warn > 0) || !(l.Reject >= l.Warn) || l.Reject > 100 {
		return fmt.Errorf("acceptance limits of %g and %g %% of full scale: want more than 0, and that of rejecting not below that of warning, nor above 100", l.Warn, l.Reject)
	}
	return nil
}

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

	Limits     *Limits   `json:"limits,omitempty"` // what the verdict was made by; nil in what earlier programs kept
	Verdict    Verdict   `json:"verdict"`
	Remarks    []string  `json:"remarks"` // what the verdict rests on, in sentences
	ValidUntil time.Time `json:"valid_until"`
}

// ID returns the identity of r: 32 hexadecimal digits of the hash of its
// encoding.
func (r *Record) ID() string { return identity(r) }

func identity(of any) string {
	b, err := json.Marshal(of)
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

// soon is for how long before its date a record is said to be due, and what share of
// its validity that is at most: time to find an hour at a bench, and not from the first day.
const (
	soon      = 14 * 24 * time.Hour
	soonShare = 4
)

// Due reports whether r is soon past its date and is not yet.
func (r *Record) Due(now time.Time) bool {
	left := r.ValidUntil.Sub(now)
	return left >= 0 && left <= min(soon, r.ValidUntil.Sub(r.At)/soonShare)
}

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
