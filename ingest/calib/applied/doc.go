// Package applied turns counts into pressure by the calibration records that are
// in force: every value with the parts of its uncertainty, and whether it is
// extrapolated.
//
// A channel with a record is converted by it, whatever straight line the
// configuration has for it; all others stay as they are. A Set is told which
// record applies from when on, and must be shown the scans in one order: it
// remembers, for records that need it, in which direction each channel went last
// and since when its load has stayed. Given the same records and scans in the
// same order it gives the same values, to the bit, and what it remembers can be
// kept and taken up again (Append, Read).
//
// # Choices
//
// Curves and uncertainties are looked up in tables of straight pieces, as few as it
// takes to be within 0.01 mmHg of the record's own formula, or 8 % of the
// uncertainty there, and 5 % of its uncertainty, which is one on each piece. Where no
// table comes as close, what it is off by is part of the uncertainty. Outside of the
// calibrated range, where everything is marked as extrapolated, the table goes on
// along straight lines: of the pressure through what the formula says an eighth of
// the span beyond, of the uncertainty, in steps of a fiftieth of the span, through
// what it says a span beyond. The ends of the range are told to 1 in 50,000 of it. A
// record is not kept once its table has been made: a channel takes 0.14 to 0.25 kB,
// one that has branches or creep 0.4 to 0.5 kB.
//
// A channel keeps the piece on which its last reading was, as most readings are on the
// same as the one before: those take one multiplication and one comparison, and no
// search. That is no memory: what a reading gives depends on it nowhere.
//
// The age of a load counts to 1 in 16, as what it is in the middle of that. A
// calibration's age counts in whole days, and never goes back: a scan that was stored
// and comes late has the uncertainty of the newest.
//
// A scan that is older than the last one moves nothing: its direction is taken
// as unknown, which is the middle of both curves with a larger uncertainty, and
// its load has no age. The same goes for a channel just after its record has
// come into force. A value that is missing leaves the direction as it was.
//
// The package is pure: it does no I/O and reads no clock. A Set is not safe for
// use by several goroutines.
package applied
