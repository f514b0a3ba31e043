package compression

import "math"

// laplace turns newtons a square centimetre of girth × width into mmHg: 2π N/cm² in
// conventional mmHg of 133.322387415 Pa.
const laplace = 2 * math.Pi * 1e4 / 133.322387415

// Gravity is that of the conventional kilogram-force, in m/s².
const Gravity = 9.80665

// LeastShare is the least share of Laplace's pressure that sensors have been read to
// show: on 47 volunteers they read less than it everywhere, at worst 42.1 % less, just
// above the ankle (J Wound Care 2021;30(4):276-282, abstract).
const LeastShare = 1 - 0.421

// OverEstimate says how far a prediction can be believed, with its sources.
const OverEstimate = "Laplace’s law is of a thin wrap on a round limb, and says more than is there: " +
	"on 47 volunteers sensors read less everywhere, up to 42 % less just above the ankle (J Wound Care 2021;30(4):276-282); " +
	"leaving out the thickness of four components adds 19 % or more at an ankle of 25 cm (Phlebology 2011;26(2):75-83). " +
	"It is a mean around the limb: over bone and tendon there is more."

// A Wrapping is how a bandage is put on. Zero is not known.
type Wrapping struct {
	Newtons float64 // the pull on the whole width of the bandage, N
	Layers  float64 // that lie over each other: 2 where half of each turn is covered
	WidthCM float64
}

// Pressure is the mean pressure in mmHg around a limb of that girth in cm, by
// Laplace's law as Thomas put it for bandages (World Wide Wounds, June 2003): P =
// 4620 T N / (C W) with T in kgf, of which 4620 is rounded. NaN where anything is
// not known.
func (w Wrapping) Pressure(girthCM float64) float64 {
	if !(w.Newtons > 0 && w.Layers > 0 && w.WidthCM > 0 && girthCM > 0) {
		return math.NaN()
	}
	return laplace * w.Newtons * w.Layers / (girthCM * w.WidthCM)
}

// Pull is the inverse of Pressure: the tension in N that a pressure in mmHg would
// have taken. Newtons of w does not matter.
func (w Wrapping) Pull(mmHg, girthCM float64) float64 {
	w.Newtons = 1
	return mmHg / w.Pressure(girthCM)
}
