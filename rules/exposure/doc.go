// Package exposure adds pressure up over time against a published model of how
// long tissue tolerates how much.
//
// A Model answers for how long a pressure is tolerated, T(P). A Dose is the
// share of that tolerance which has been used:
//
//	dE/dt = 1 / T(P)        while P is above the floor
//	E stays as it is        while P is not, and for resets_after from then on
//	dE/dt = -E / recovery   after that, until P is above the floor again
//	E stays as it is        while P is unknown: a hole is neither load nor relief
//
// E is 1 when a constant pressure has lasted for exactly T(P).
//
// # These are research models
//
// They were made from animals or as clinical guidelines drawn by hand, and they
// contradict each other: at 4 h the guideline curve allows 120 mmHg, the one
// from rat muscle 60; at 8 h it is 41 against 60. None of them says that a
// pressure is safe. Whoever shows a share of tolerance shows Model.Caution with
// it.
//
// # Outside of the data
//
// A model is asked within the data that it was made from, and nowhere else. A
// pressure below the range has no limit that the data know of, and uses
// nothing. A pressure above it uses tolerance as the shortest time in the data
// does, and no faster; the answer is Above, and whoever tells of it says that
// the pressure is beyond the data.
package exposure
