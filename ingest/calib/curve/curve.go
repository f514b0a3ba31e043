package curve

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/interp"
)

// A Model is the kind of a curve, named as the commands and records spell it.
type Model string

// The models.
const (
	// Line is c0 + c1*raw.
	Line Model = "line"
	// Quadratic is c0 + c1*raw + c2*raw^2, and is used only where it is
	// monotone over the calibrated range.
	Quadratic Model = "quadratic"
	// Power is a power law in conductance: c1 * |raw - c0|^c2, where the counts
	// are proportional to the sensor's conductance, as behind an inverting
	// amplifier, and c0 is the count without load. The sign of c3 (+1 or -1)
	// says to which side of c0 a load moves the counts; on the other side the
	// pressure is 0.
	Power Model = "power"
	// Monotone is a monotone cubic through knots, which goes on as a straight
	// line beyond them.
	Monotone Model = "monotone"
)

// Models are all models, from the stiffest to the most yielding.
var Models = []Model{Line, Quadratic, Power, Monotone}

// A Knot is a point that a monotone curve goes through.
type Knot struct {
	Raw  float64 `json:"raw"`
	MMHg float64 `json:"mmhg"`
}

// A Curve turns counts into mmHg. The zero Curve gives NaN.
type Curve struct {
	model        Model
	coefficients []float64
	knots        []Knot
	cubic        *interp.FritschButland
}

// New returns the curve of a model with coefficients (see Model).
func New(m Model, coefficients ...float64) (Curve, error) {
	want := map[Model]int{Line: 2, Quadratic: 3, Power: 4}[m]
	switch {
	case want == 0:
		return Curve{}, fmt.Errorf("model %q has no coefficients", m)
	case len(coefficients) != want:
		return Curve{}, fmt.Errorf("model %q has %d coefficients, want %d", m, len(coefficients), want)
	}
	for i, c := range coefficients {
		if math.IsNaN(c) || math.IsInf(c, 0) {
			return Curve{}, fmt.Errorf("coefficient %d of model %q is %v", i, m, c)
		}
	}
	if m == Power && (math.Abs(coefficients[3]) != 1 || coefficients[2] <= 0) {
		return Curve{}, fmt.Errorf("power law has exponent %v and side %v", coefficients[2], coefficients[3])
	}
	return Curve{model: m, coefficients: slices.Clone(coefficients)}, nil
}

// Through returns the monotone cubic through at least two knots. Their counts
// must increase and their pressures must not turn.
func Through(knots []Knot) (Curve, error) {
	if len(knots) < 2 {
		return Curve{}, fmt.Errorf("monotone curve has %d knots, needs 2", len(knots))
	}
	x, y := make([]float64, len(knots)), make([]float64, len(knots))
	rise, fall := false, false
	for i, k := range knots {
		x[i], y[i] = k.Raw, k.MMHg
		if !finite(k.Raw) || !finite(k.MMHg) {
			return Curve{}, fmt.Errorf("knot %d is not finite", i)
		}
		if i > 0 {
			if x[i] <= x[i-1] {
				return Curve{}, fmt.Errorf("counts of knot %d do not increase", i)
			}
			rise, fall = rise || y[i] > y[i-1], fall || y[i] < y[i-1]
		}
	}
	if rise && fall {
		return Curve{}, errors.New("pressures of the knots turn")
	}
	c := Curve{model: Monotone, knots: slices.Clone(knots), cubic: &interp.FritschButland{}}
	if len(knots) == 2 { // the cubic through two points is the line
		x = []float64{x[0], (x[0] + x[1]) / 2, x[1]}
		y = []float64{y[0], (y[0] + y[1]) / 2, y[1]}
	}
	if err := c.cubic.Fit(x, y); err != nil {
		return Curve{}, fmt.Errorf("monotone curve: %w", err)
	}
	return c, nil
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// Model returns the kind of c.
func (c Curve) Model() Model { return c.model }

// Coefficients returns a copy: lowest power first, none for a monotone curve.
func (c Curve) Coefficients() []float64 { return slices.Clone(c.coefficients) }

// Knots returns a copy: none but for a monotone curve.
func (c Curve) Knots() []Knot { return slices.Clone(c.knots) }

// Equal reports whether c and o are the same curve, to the bit.
func (c Curve) Equal(o Curve) bool {
	return c.model == o.model && slices.Equal(c.coefficients, o.coefficients) && slices.Equal(c.knots, o.knots)
}

// At returns the pressure in mmHg at a count, and NaN for NaN.
func (c Curve) At(raw float64) float64 {
	if raw != raw {
		return raw
	}
	k := c.coefficients
	switch c.model {
	// The conversions keep a product from being fused into a sum: so every
	// processor gives the same last bit, and so the same alerts.
	case Line:
		return k[0] + float64(k[1]*raw)
	case Quadratic:
		return k[0] + float64(raw*(k[1]+float64(k[2]*raw)))
	case Power:
		d := k[3] * (raw - k[0])
		if d <= 0 {
			return 0
		}
		return k[1] * math.Pow(d, k[2])
	case Monotone:
		first, last := c.knots[0], c.knots[len(c.knots)-1]
		switch {
		case raw < first.Raw:
			return first.MMHg + float64(c.cubic.PredictDerivative(first.Raw)*(raw-first.Raw))
		case raw > last.Raw:
			return last.MMHg + float64(c.cubic.PredictDerivative(last.Raw)*(raw-last.Raw))
		}
		return c.cubic.Predict(raw)
	}
	return math.NaN()
}

// Slope returns the change of pressure with counts, in mmHg per count, at a
// count: the inverse of the sensor's sensitivity there.
func (c Curve) Slope(raw float64) float64 {
	k := c.coefficients
	switch c.model {
	case Line:
		return k[1]
	case Quadratic:
		return k[1] + 2*k[2]*raw
	case Power:
		d := k[3] * (raw - k[0])
		if d <= 0 {
			return 0
		}
		return k[3] * k[1] * k[2] * math.Pow(d, k[2]-1)
	case Monotone:
		return c.cubic.PredictDerivative(min(max(raw, c.knots[0].Raw), c.knots[len(c.knots)-1].Raw))
	}
	return math.NaN()
}

type curveJSON struct {
	Model        Model     `json:"model"`
	Coefficients []float64 `json:"coefficients,omitempty"`
	Knots        []Knot    `json:"knots,omitempty"`
}

// MarshalJSON encodes the model with its coefficients or knots, so that the
// decoded curve gives the same bits.
func (c Curve) MarshalJSON() ([]byte, error) {
	return json.Marshal(curveJSON{c.model, c.coefficients, c.knots})
}

// UnmarshalJSON decodes what MarshalJSON wrote, and refuses what is no curve.
func (c *Curve) UnmarshalJSON(b []byte) error {
	var j curveJSON
	if err := json.Unmarshal(b, &j); err != nil {
		return err
	}
	var err error
	if j.Model == Monotone {
		*c, err = Through(j.Knots)
	} else {
		*c, err = New(j.Model, j.Coefficients...)
	}
	return err
}
