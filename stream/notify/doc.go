// Package notify decides which message about an alert is due to whom, and when.
// It is pure: it reads no clock, draws no number and sends nothing. Package
// notify/outbox follows the record with it; notify/webhook, notify/mail and
// notify/topic are the ways out.
//
// A message that is sent is not one that is seen. Nothing here changes an alert:
// it stands, and goes on to the next tier, until a person has acknowledged it,
// whatever a receiver has said.
//
// # What is due
//
// An alert calls while it is unacknowledged or latched (package rules/alert), and
// it calls anew when it is raised again or becomes the next tier's. A sender is
// due a call while an alert calls that is of its priorities and places and of a
// tier for which one of its windows is open, once for each time that it calls. So
// a window that opens finds what has been waiting for somebody, and so does a
// sender that the configuration did not have before.
//
// Who was called is told once how that ended, at any hour: somebody has it, it is
// over, or it is put aside. A chattering alert is told as people are shown it,
// which is once. The daemon's own alerts (package stream/selfwatch, readings that are
// not kept, other senders that do not get through) call every sender of their priority
// with an open window, whatever its places and tiers, for nobody can acknowledge them.
//
// A test is due once a day, at a time of the local day; one that was due while the
// daemon was down is sent when it is up. A person may ask for one more, once a minute
// and not while too many messages wait; its first attempt is made at once. When that
// fails, nothing else waits longer or shorter than it would have.
//
// # What becomes of a message
//
// It is queued, which is in the record before anything is sent, and then sent, given
// up or withdrawn, which is in the record too. It is tried until a receiver has
// taken it, with pauses that double from a second to five minutes. It is given up
// when the receiver says that it will never take this one, when it has waited for
// longer than the sender allows, or when too many wait; that is said in the record
// and makes the sender one that is broken. When too many wait, what is given up is
// what is needed least, which may be the one that came last: tests, then what is said
// of how a call ended, then calls of the least priority, the oldest of each first. A call is withdrawn when its alert is
// put aside before it was sent. A call whose alert somebody has by then, or which is
// over, says so.
//
// One message that a receiver chokes on does not hold up others: those with the
// fewest attempts go first, but never before an earlier one about the same alert.
//
// A key names each message. It is the same for every attempt, also after a restart,
// so that a receiver can drop what it has had. Deliveries are at least once: one
// whose answer was lost is made again.
//
// # Choices where the specification is silent
//
// The words of a call are made when it leaves, so that attempts of one message may
// differ in what they say of the present. What a person gave as a reason is not
// sent: it may be about somebody. The limits of pauses and of what is broken are
// our own; package figures has the reasons.
package notify
