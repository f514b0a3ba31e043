package record

import (
	"fmt"
	"math"
	"time"

	"weald/ingest/calib/curve"
)

// A Spot is a later check of a record at one known pressure. It says whether
// the record still holds, and never changes it.
type Spot struct {
	Record    string    `json:"record"` // its ID
	At        time.Time `json:"at"`
	By        string    `json:"by"`
	Reference float64   `json:"reference_mmhg"`
	Raw       float64   `json:"raw"`
	MMHg      float64   `json:"mmhg"`       // what the record makes of Raw
	Error     float64   `json:"error_mmhg"` // MMHg less Reference
	Allowed   float64   `json:"allowed_mmhg"`
	Holds     bool      `json:"holds"`
	Text      string    `json:"text"`
}

// Spot checks the record at a known pressure, applied by loading and read from a
// gauge with a standard uncertainty of u mmHg. The error may be twice the
// standard uncertainties of both together (k = 2), with the drift that the
// record allows for its age.
func (r *Record) Spot(at time.Time, by string, reference, u, raw float64) (Spot, error) {
	if math.IsNaN(reference) || math.IsNaN(raw) || !(u >= 0) {
		return Spot{}, fmt.Errorf("spot check of channel %d: the pressure, the reading or the gauge's uncertainty is missing", r.Channel)
	}
	v := r.Calibration.Value(raw, curve.Loading, r.Age(at))
	s := Spot{Record: r.ID(), At: at, By: by, Reference: reference, Raw: raw, MMHg: float64(v.MMHg)}
	s.Error = s.MMHg - reference
	s.Allowed = 2 * math.Hypot(v.U(), u)
	s.Holds = math.Abs(s.Error) <= s.Allowed && !v.Extrapolated
	switch {
	case v.Extrapolated:
		s.Text = fmt.Sprintf("%.0f mmHg is outside the calibrated range: check at a pressure within it", reference)
	case s.Holds:
		s.Text = fmt.Sprintf("holds: %+.1f mmHg at %.0f mmHg, %.1f mmHg allowed", tenths(s.Error), reference, s.Allowed)
	default:
		s.Text = fmt.Sprintf("does not hold: %+.1f mmHg at %.0f mmHg, %.1f mmHg allowed. Calibrate this channel again", tenths(s.Error), reference, s.Allowed)
	}
	return s, nil
}

// tenths rounds to a tenth; what is nothing then has no minus.
func tenths(v float64) float64 { return math.Round(v*10)/10 + 0 }
