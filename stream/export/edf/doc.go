// Package edf writes EDF+ files and reads EDF, EDF+ and BDF files.
//
// The format is that of Kemp et al., Electroencephalogr Clin Neurophysiol
// 1992;82:391-393, and Kemp & Olivan, Clin Neurophysiol 2003;114:1755-1761. A
// file is a header of printable ASCII and then data records of equal size and
// duration. A record holds some samples of each signal, and in EDF+ one signal
// is not a signal but text: "time-stamped annotation lists", the first of which
// says when the record begins. A file is continuous (EDF+C) when each record
// begins where the former ends, and discontinuous (EDF+D) when time is missing
// between some of them.
//
// # Writing
//
// A Writer is given the whole Header before the first record, so the number of
// records has to be known; it needs no seeking. It refuses what a strict reader
// would refuse: text that is not printable ASCII, numbers that need more than
// their eight characters, records over MaxRecord bytes.
//
// The format has no way to say that a value is unknown. Files of this package
// keep the lowest digital value, -32768, for that, and say so in the
// prefiltering field of each signal; Fit chooses the physical range so that
// this value stands well below every value that occurred and below zero, where
// a viewer that does not know the convention shows a drop that nobody takes for
// a pressure.
//
// # Reading
//
// A Reader is strict or lenient. Strict is for files of this package: every
// departure from the format is an error. Lenient is for files of the world: it
// reads whatever can be read without guessing and lists the departures.
package edf
