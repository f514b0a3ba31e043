// Package field says how many alerts a signal would have raised for every pair of
// a limit and an on-delay, without judging it anew for every pair. It is pure.
//
// It is about one signal of a place and one subject: a site, a region, a whole
// mat. A rule that judges a mat cell by cell cannot be had from signals, because
// the highest cell of a region is not the same one all the time: an hour of
// changing cells that are each above the limit for a minute is an hour of
// `peak` and a minute of every cell.
//
// # How
//
// For one limit the condition of a hold does not depend on the delay, and neither
// does what undoes time that was held: an absence of resets-after, a silence of
// forget-after. So one pass over the signal leaves its excursions, the times
// beyond the limit, and what each gap between two of them does: whether it makes
// the hold forget, and whether and when it clears an alert. From them every delay
// follows by adding up. A hold that was raised and cleared within a run of
// excursions that would not have made it forget begins at nothing after that gap,
// which is why the excursions are kept and not their sums.
//
// A delay of zero is reached by a reading that lasts no time, and is judged by the
// hold itself. What it counts is exactly what package hold does, raise by raise;
// tests hold it to that, to the engine and to a slow reference.
//
// # What it counts
//
// Raises, as the tuning figures do: an alert that chatters counts each time, and
// so does one that is put aside because nobody is there.
package field
