// Package hold turns a condition that comes and goes into an alert that is
// raised and cleared: threshold and duration, with everything that real skin,
// real wraps and real radios need.
//
// Three mechanisms, all pure, all in event time:
//
//   - A Band says whether a value is beyond a limit. It has a deadband, so it
//     remembers on which side the last known value was; an unknown value leaves
//     that memory alone.
//   - A State is one hold. It accumulates how long the condition was true,
//     false and unknown, and says at which exact instant it is raised or
//     cleared.
//   - Cells are many holds with one limit and one clock: the cells of a mat.
//
// The three answers of a condition mean:
//
//	            not raised                             raised
//	yes         held grows; at on-delay: raised        off = 0
//	no          released grows; at resets-after:       off grows; at off-delay:
//	            held = 0                               cleared, held = 0
//	unknown     nothing grows; one unbroken silence    nothing grows, and the
//	            of forget-after: held = 0              alert stays
//
// Intervals are half open: a reading at t decides [t, next). A delay that is
// reached exactly at the end of an interval has been reached. A delay of zero
// is reached by the first reading. The terms deadband, on-delay and off-delay
// are those of ISA-18.2 and IEC 62682; resets-after and forget-after are ours.
//
// Choices made where the tables above are silent: a gate that is closed is time
// that does not pass at all, so it neither ends nor extends a silence; the
// memory of a Band follows every reading, also while the gate is closed;
// forgetting clears what was held, never the memory.
package hold
