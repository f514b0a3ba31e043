package sample

import "math"

// pascalsPerMMHg is the conventional millimetre of mercury, exact by
// definition: 1 mm x 13 595.1 kg/m3 x 9.806 65 m/s2. Two other values are in
// circulation (UCUM's 133.3220 and the torr, 101 325/760); they differ by less
// than 3 parts in a million.
const pascalsPerMMHg = 133.322387415

// MMHg is a pressure in millimetres of mercury, relative to ambient air. NaN
// is the pressure that nobody knows.
type MMHg float64

// Pascals converts p.
func (p MMHg) Pascals() float64 { return float64(p) * pascalsPerMMHg }

// KPa converts p for people who think in kilopascals.
func (p MMHg) KPa() float64 { return p.Pascals() / 1000 }

// FromPascals converts pa to millimetres of mercury.
func FromPascals(pa float64) MMHg { return MMHg(pa / pascalsPerMMHg) }

// Unknown is the reading that is not there: a NaN. Test for it with IsUnknown,
// never by comparing.
var Unknown = math.NaN()

// IsUnknown reports whether v is no reading at all.
func IsUnknown(v float64) bool { return v != v }
