// Package audit keeps who did, saw and took away what, so that a later change of it
// shows.
//
// Over makes a journal audit itself: whatever is kept of what people do, and every
// change of an alert, is kept together with a link of a chain (record.Audit) that
// vouches for its bytes, all or none of them. What leaves no entry of its own, such
// as an export or a look at a page, is kept as a link alone, by Journal.Note and
// Views. Nothing has to remember to audit: it is in the way of every writing.
//
// Verify reads a record and says what does not fit: a link or a covered entry that
// was edited, removed, inserted, moved or swapped, and, against a link that somebody
// has written down elsewhere, an end that was cut off. Whoever can write the files can
// make the whole chain anew, and only such a link elsewhere shows that.
//
// An erasure of a person's data changes entries on purpose. It takes sealed texts
// away, of which digests without their salts stay, so that the chain holds; and its
// own link vouches for all that it has changed.
package audit

import "weald/stream/record"

// What the program itself says that was done; an act of which the record has an
// entry is named as that says it, such as "acknowledge".
const (
	Alerts     = "alerts"     // changes of alerts
	Viewed     = "viewed"     // a place's page or its live data
	Exported   = "exported"   // data as files
	Reported   = "reported"   // data as a page to print
	BackedUp   = "backed-up"  // a copy of the record
	Tested     = "tested"     // a sender
	Configured = "configured" // a configuration came into force
	Deleted    = "deleted"    // what keep: lets go
	Erased     = "erased"     // a person's data
	Logged     = "logged"     // in or out
	Rehearsed  = "rehearsed"  // rules
	Refused    = "refused"    // what somebody asked for and may not
	Unseen     = "unseen"     // views that came too fast to be noted
)

// covers reports whether a chain covers an entry.
func covers(e *record.Entry) bool { return e.Body != nil && covered[e.Body.Kind()] }

// covered are the kinds of entries that a chain covers. Of the others nobody is the
// author, or a link is all that there is.
var covered = map[record.Kind]bool{
	record.KindTransition: true, record.KindAction: true, record.KindMark: true, record.KindSession: true,
	record.KindConfig: true, record.KindCalibration: true, record.KindZeroing: true, record.KindCheck: true,
	record.KindRefused: true, record.KindAttempt: true,
}
