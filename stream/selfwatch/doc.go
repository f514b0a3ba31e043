// Package selfwatch lets the daemon raise alerts about itself: that nothing arrives,
// that its disk fills, that its clock cannot be believed, that it falls behind.
//
// What can be wrong are Kinds, each with one number that is looked at every few
// seconds, a limit and a hold, as rules have them (package rules/hold). A Watch is the
// judging of them; it is pure, and given the same looks at the same instants says the
// same. A number that nobody knows is unknown: it raises nothing and clears nothing.
//
// What a Watch finds is kept as a record.Fault before anybody is told of it, and is an
// alert like others: on the pages, in the record, sent by senders that take its
// priority. It is not judged again in a rehearsal, which has no disk and no clock that
// could be looked at: whoever reads the record finds what was found live. A rehearsal of the
// record says how many of them there were, and a comparison of what is kept with what is
// found again is of the others, which are record.Transitions, all of them. Nobody can
// acknowledge or shelve it; it goes when its cause does, which is looked for by itself.
//
// Two parts of the daemon know better than any number how they fare, and judge
// themselves: the keeper (readings are not kept, as when the disk is full) and the
// outbox (a sender does not get through). Their faults are record.Faults too; Resume
// takes up all of them after a start.
//
// A dead daemon raises nothing: see package stream/pulse.
package selfwatch
