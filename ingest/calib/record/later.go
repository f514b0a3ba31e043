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
		s.Text = fmt.Sprintf("holds: %+.1f mmHg at %.0f mmHg, %.1f allowed", s.Error, reference, s.Allowed)
	default:
		s.Text = fmt.Sprintf("does not hold: %+.1f mmHg at %.0f mmHg, %.1f allowed. Calibrate this channel again", s.Error, reference, s.Allowed)
	}
	return s, nil
}

// MostZero is how far zeroing may move a channel, in mmHg, either way. A
// channel that is further off at rest is not at rest, or needs calibrating.
const MostZero = 5

// A Zero is one zeroing of an unloaded channel, or, with Undo, the taking back
// of the last one.
type Zero struct {
	At    time.Time `json:"at"`
	By    string    `json:"by"`
	Shown float64   `json:"shown_mmhg"` // what the record alone says at rest, and what is taken off from then on
	Undo  bool      `json:"undo,omitempty"`
}

// NewZero zeroes a channel of which its record says shown mmHg without load. It
// is refused beyond MostZero.
func NewZero(at time.Time, by string, shown float64) (Zero, error) {
	if !(math.Abs(shown) <= MostZero) {
		return Zero{}, fmt.Errorf("zeroing would take off %.1f mmHg, more than %d: see that nothing rests on the sensor, or calibrate it again", shown, MostZero)
	}
	return Zero{At: at, By: by, Shown: shown}, nil
}

// Undo takes back the last zeroing that is in force.
func Undo(at time.Time, by string) Zero { return Zero{At: at, By: by, Undo: true} }

// Offset returns what is to be taken off the pressures of a channel, in mmHg,
// after its zeroings in order. An Undo of nothing does nothing.
func Offset(zeros []Zero) float64 {
	var in []float64
	for _, z := range zeros {
		switch {
		case !z.Undo:
			in = append(in, z.Shown)
		case len(in) > 0:
			in = in[:len(in)-1]
		}
	}
	if len(in) == 0 {
		return 0
	}
	return in[len(in)-1]
}
