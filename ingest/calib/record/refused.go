package record

import (
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"weald/ingest/calib/figures"
)

// RefusedVersion is the version of the encoding of a Refused.
const RefusedVersion = 1

// A Refused is a calibration that does not come into force: its readings could not be
// one, or what came of them was rejected. It is kept so that nobody has to wonder why
// a channel has none, and nothing is ever converted by it.
type Refused struct {
	Version int    `json:"version"`
	Bridge  string `json:"bridge"`
	Source  string `json:"source"`
	Channel int    `json:"channel"`

	At          time.Time  `json:"at"`
	By          string     `json:"by"` // a code, never a name
	Reference   Instrument `json:"reference"`
	Temperature *float64   `json:"temperature_c"` // nil: not known
	Method      string     `json:"method"`

	Rows    []figures.Row `json:"rows,omitempty"` // none where it settled nowhere, or where they are in Rejected
	Reasons []string      `json:"reasons"`        // and what to do, in sentences
	Limits  *Limits       `json:"limits,omitempty"`

	// Rejected is what came of the readings where something did.
	Rejected *Record `json:"rejected,omitempty"`
}

// Reject makes of a record that was rejected what is kept of it.
func Reject(r *Record) *Refused {
	return &Refused{
		Version: RefusedVersion, Bridge: r.Bridge, Source: r.Source, Channel: r.Channel, At: r.At, By: r.By, Reference: r.Reference,
		Temperature: r.Temperature, Method: r.Method, Reasons: append([]string{}, r.Remarks...), Limits: r.Limits, Rejected: r,
	}
}

// ID returns the identity of r, as Record.ID does.
func (r *Refused) ID() string { return identity(r) }

// Check says why r cannot be kept.
func (r *Refused) Check() error {
	switch {
	case r.Version != RefusedVersion:
		return fmt.Errorf("refused calibration is of version %d, this program knows %d", r.Version, RefusedVersion)
	case r.Channel < 0:
		return fmt.Errorf("refused calibration is of channel %d", r.Channel)
	case len(r.Reasons) == 0:
		return errors.New("refused calibration says no reason")
	case r.Rejected != nil && r.Rejected.Verdict != Rejected:
		return fmt.Errorf("refused calibration has a record with verdict %q", r.Rejected.Verdict)
	case r.Rejected != nil:
		return r.Rejected.Check()
	}
	if _, err := json.Marshal(r); err != nil {
		return fmt.Errorf("refused calibration: %w", err)
	}
	return nil
}
