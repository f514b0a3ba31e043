// Package access knows who may do what: accounts of people with a role each, the
// sessions that they log in to, tokens of programs, and links of wall screens.
//
// What there is stands in the record, as documents, so that a backup has it, and it
// outlasts what keep: deletes. Who changed what is beside it, as human actions, which
// are no inputs of the rules. The action is kept first: nothing is changed unseen.
//
// No document has anything that opens a door. Passwords are kept by argon2id (package
// password); what the program makes itself, the keys of sessions, tokens, screens and
// devices, has 130 random bits, for which a SHA-256 is enough.
//
// Accounts are those of staff, and have a short name, "anna" or "N-4": who has
// acknowledged what is known by it. Patients and participants have no account, and are
// known by codes alone.
//
// Time is an argument. All methods may be called from any goroutine.
package access
