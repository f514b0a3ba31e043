// Package curve is a fitted calibration of one channel in the form in which it
// is used live: counts in, millimetres of mercury and what they can be trusted
// for out. How it was fitted is the business of packages above it; what was
// fitted, when and by whom is the record's.
//
// A Calibration has one Curve, or one for loading and one for unloading. A
// sensor with hysteresis reads more at the same pressure while it is unloaded,
// so with two curves the sign of the recent motion decides: see Motion, whose
// width keeps noise from deciding. Until a motion has been seen the direction
// is unknown and the value lies in the middle between the two curves, with a
// larger uncertainty.
//
// Two parts of the uncertainty are kept apart everywhere, because averaging
// several sensors divides the one and not the other:
//
//   - the independent part, of this channel alone: what the fit leaves,
//     hysteresis, repeatability, and drift since the calibration;
//   - the shared part, of the reference gauge: all channels that were
//     calibrated with it are wrong together.
//
// All of them are standard uncertainties in mmHg (JCGM 100). They are added in
// squares.
//
// Outside the calibrated range of counts a value is given and is marked as
// extrapolated. NaN counts give NaN, and are not extrapolated.
//
// Choices where the semantics are silent. Drift grows in proportion to the age
// of the calibration. Outside the range the fit's part grows as the leverage
// of a straight line does: by 1 + 2 d/span at a distance d from its end. With
// an unknown direction the hysteresis part is 0.29 of the distance between the
// curves (JCGM 100, F.2.2.2); with a known one it is half of that, since a turn
// in mid-range leaves the truth somewhere between its curve and the middle.
//
// The package is pure: it does no I/O and reads no clock. Everything in it but
// Motion is fixed once made and may be used by several goroutines at a time.
package curve
