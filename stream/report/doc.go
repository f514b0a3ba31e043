// Package report makes of the record what people print: of a session, of a try at
// putting on a wrap, of a night in a bed, of a trial by participant and day. Each is a paper.Document; the page of a
// calibration is in report/sheet.
//
// # Where the numbers come from
//
// The readings that were kept are judged again by the configuration that was in force
// when the stretch began, in the order of their times, as an export does it, so that
// what a bridge had stored and sent later is in its place. A report and an export of
// the same stretch agree. Pressures, time seated, reliefs and turns are counted from
// the readings of the stretch alone: who sat before it is nobody's. Alerts are those
// of the record, which people were told, and so are marks and notes.
//
// Numbers are weighted by time (package tally). What is not known counts for
// nothing, and every report says what share of the time was observed.
//
// A report says how far the record went when it was made, and not when that was: of
// the same record it is the same, to the byte, from a running daemon and without.
package report
