// Package sheet makes the page of a calibration that a person reads, prints and
// signs, on package paper. It is a pure function of the record and the time of
// printing. Loading is a solid line with round marks, unloading a dashed one with
// open marks.
package sheet
