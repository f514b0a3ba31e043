// Package export writes a stretch of a record into files that other programs
// read: CSV, EDF+, Parquet and FHIR; and reads EDF+ files of its own back.
//
// What is exported is a Recording: some tracks, each of which yields rows of
// signals that were taken together, and annotations (alerts, marks). Where they
// come from is not this package's business. Everything is streamed: memory does
// not grow with the length of a recording, but for one bit a data record of
// EDF+ (half a megabyte for a month of seconds) and for its annotations.
//
// # What becomes of values and of time
//
// A value lasts until the next row of its track, and no longer than the track's
// StaleAfter, or to its row's Until; NaN is unknown, from its instant on. No format turns an unknown
// into a number:
//
//   - CSV has one file for each rate. Each row is an instant at which a track of
//     that rate has one. A cell is the value that was in force then, so in a file
//     of one track it is always the reading itself; an empty cell is unknown.
//     A gap is where there are no rows.
//   - Parquet has one long table: a row is one reading of one signal, at its own
//     instant, with null for unknown. Nothing is held and nothing is moved: it is
//     the format to take when every reading counts.
//   - EDF+ has samples at a fixed rate only, so all tracks are resampled (see
//     EDF); a time in which nothing at all is known is left out of the file, which
//     is then of the discontinuous kind; other unknowns are the lowest sample,
//     -32768, as package edf describes.
//   - FHIR has the same samples as SampledData in Observations, with "E" for
//     unknown (see FHIR). It leaves annotations out.
//
// Each value comes with its standard uncertainty and with what it is in doubt for
// (see Row): in columns beside it in CSV and Parquet, in components in FHIR. EDF+ has
// no place beside a sample; its annotations say between which bounds the uncertainty
// of a signal is, and from when to when it was in doubt.
//
// # Whose it is
//
// A code stands for the time of its session and for no other. Files say of all of
// themselves whose they are where one session covers all of the stretch, and each
// session is an event with its beginning and its length. FHIR has the subject and the
// encounter in each Observation, and none is of two sessions: whose a reading is goes
// by its own instant, and nothing is held over the edge of a session.
//
// # Files
//
// A file is written under a temporary name in its folder, made durable, and
// renamed only when all files of the export are whole. An export that fails or
// is cancelled leaves nothing behind; only when the machine itself stops can a
// file with a name that begins with a point and ends in ".partial" remain. Files
// are readable by their owner alone. An existing file is not replaced unless
// that is asked for.
package export
