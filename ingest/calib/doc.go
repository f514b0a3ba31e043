// Package calib turns what a source delivers into millimetres of mercury.
//
// A channel's calibration is a straight line from counts to pressure. A source
// that delivers pressure needs none; a source that delivers counts and has none
// gives no pressure at all: its values are unknown, never guessed.
//
// The package is pure: it does no I/O and reads no clock.
package calib
