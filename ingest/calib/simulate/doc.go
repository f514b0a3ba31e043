// Package simulate is thin force sensors that do not exist, with faults that are
// known: what a calibration says of them can be held against the truth.
//
// A sensor's counts follow a power law of what it feels. What it feels lags
// behind the pressure by a play, which is its hysteresis; grows under a load
// that stays, with the logarithm of time; is off by something else each time it
// is loaded anew, and by more with every day. None of it is taken from a
// product: the sizes are those of published work on such sensors (5 % mostly, 15 % at worst).
//
// The package is pure: the same seed gives the same sensor.
package simulate
