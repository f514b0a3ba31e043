// Package record is what is kept of a calibration: everything that it takes to
// have it again, to print it and to say until when it holds.
//
// A Record is immutable. Another calibration of the same channel is another
// record; a spot check or a zeroing refers to a record and never changes it.
// Its identity is the hash of its encoding, so that a record which was changed
// is another one.
//
// The package is pure: time is an argument.
package record
