// Package keeper writes what the pipeline does into the record, and takes it up
// again after a restart.
//
// Kept are the inputs of the rules engine (scans before calibration, ticks), in
// blocks of about a second, and its events. Readings are handed to the disk once
// a second and whenever an event is kept; an event is durable, with every input
// that led to it, before anybody is told of it. The block of a source that is
// slower than ten a second is handed over again with what came since, until it
// has ten scans. A start begins new blocks, and so does an event, which does not
// wait for old ones to be written again.
//
// Once a minute the engine's state is kept as a snapshot. A start takes up the
// newest one and feeds the engine what came after it, so that it stands where it
// stood when the last input was kept. The time until the next reading is a
// silence like any other: it counts as unknown.
//
// An event that the catching up brings and that was not kept, because the
// process ended between the judging and the keeping, is kept and told then; one
// that was kept is not told again.
//
// Where a disk takes no readings, events are kept all the same, and with them how
// their places stand then: a start that does not have those readings goes on from
// there. What waits for the disk is bounded, and the oldest of it is given up.
package keeper
