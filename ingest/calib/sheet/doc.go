// Package sheet makes the page of a calibration that a person reads, prints and
// signs: one HTML file with its drawings in it, which needs nothing else and
// loads nothing. It is a pure function of the record and the time of printing.
//
// It prints on A4, in black where there is no colour: loading is a solid line
// with round marks, unloading a dashed one with open marks.
package sheet
