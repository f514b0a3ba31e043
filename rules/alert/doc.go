// Package alert is what an alert is, and its life. It is pure.
//
// A hold (package hold) says when the condition of a rule has lasted for long
// enough, and when it is over. A Life turns that, what people do about it, and
// the passing of time into the states that people are shown. The words are those
// of ISA-18.2 and IEC 62682:
//
//	                     what a hold finds      a person
//	normal            -> unacknowledged
//	unacknowledged    -> returned-unack. (1)    acknowledged
//	acknowledged      -> normal
//	returned-unack.   -> unacknowledged         normal
//	latched (1)       -> unacknowledged         normal
//	any               ->                        shelved, out-of-service
//
// (1) An alert that clears before anybody has acknowledged it is
// returned-unacknowledged: it is told for a while as something that happened.
// Where the rule says latched, it is latched: it is shown as if it still stood,
// and goes on to escalate, until somebody acknowledges it.
//
// Shelved, suppressed by design and out of service put an alert aside. It is
// measured on, and raised and cleared, in a state in which nobody is called. Of
// several, out of service comes before suppressed, and that before shelved. What
// still stands when it is no longer aside is then unacknowledged, unless it has
// been acknowledged in this episode; what was raised and cleared meanwhile is
// normal, unless it is latched.
//
// # Choices where the specification is silent
//
// A Life that chatters is raised once: the raise that makes it chatter carries
// the mark, and its clears and further raises are quiet until ten minutes have
// passed without a raise. They are measured, kept and judged again like all
// others, but what people are shown stands. Then it is calm, and, if its condition
// does not hold, over.
//
// An escalation begins when an alert becomes unacknowledged, from the first tier,
// and ends at MostTiers (no source; a place has no more shifts of people to
// call). Something that is due at the instant of something else comes before it:
// a delay that is reached exactly has been reached. A person's action is taken
// when it is given, even if a timer had come first by less than the engine
// waits for readings on their way.
package alert
