package fit

import (
	"math"

	"weald/ingest/calib/figures"
)

// Between returns what rows say of a count that lies among theirs, in mmHg, by a
// monotone curve through their levels; NaN of one that does not, or where they are too
// few.
func Between(rows []figures.Row, raw float64) float64 {
	if len(rows) < FewestLevels {
		return math.NaN()
	}
	f, err := fitMonotone(rows)
	if err != nil || !spread(rows, func(r figures.Row) float64 { return r.Raw }).Has(raw) {
		return math.NaN()
	}
	return f.curve.At(raw)
}

// How near a typed pressure has to come to what was planned, as a share, to be taken
// for that in kPa; and how far a pressure in mmHg may be below what was planned at
// most. Our own; package figures has the reasons.
const (
	nearKPa  = 0.2
	leastKPa = 1.5 // mmHg
)

// LooksLikeKPa reports whether a pressure that was typed where another was planned, in
// mmHg, looks as if it had been typed in kPa.
func LooksLikeKPa(typed, planned float64) bool {
	return planned > 0 && math.Abs(typed*PerKPa-planned) <= max(nearKPa*planned, leastKPa)
}
